package watch

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Season is what a season usually does, with what may differ this year: it
// rises Level times as high and Shift weeks later. Week t, counted from 1, is
// expected to bring
//
//	Base + level·Rise(t − shift)
//
// Both are asked for together, since before the peak a late season and a weak
// one look alike: the counts then tell little more than one mixture of the two.
type Season struct {
	Base float64                    // what comes whatever the season; above 0
	Rise func(week float64) float64 // what it adds, smooth, 0 or more, defined beyond both ends
	// Dispersion is the variance of a week's count over its mean, 1 or more
	// (quasi-Poisson).
	Dispersion float64
	// LevelSD and ShiftSD (in weeks) are the standard deviations, from one year
	// to another, of the level around 1 and the shift around 0.
	LevelSD, ShiftSD float64
	// DateSD is how far off, in weeks, the usual season's own date may be:
	// learned from n years it is ShiftSD/√n. It widens the shift.
	DateSD float64
}

func (s Season) mean(week, level, shift float64) float64 {
	return max(1e-9, s.Base+level*s.Rise(week-shift))
}

// Joint says how well level and shift are known together: their standard errors,
// of a share and in weeks, and how these correlate.
type Joint struct{ Level, Shift, Correlation float64 }

// Errors gives the standard errors that so many weeks of a usual season leave,
// by Fisher information: from the counts alone, and with what earlier years
// say. What the weeks can't tell apart is +Inf or NaN in free. It panics unless
// there are weeks.
func (s Season) Errors(weeks int) (free, prior Joint) {
	if weeks < 1 {
		panic(fmt.Sprintf("watch: need 1 week or more, have %d", weeks))
	}
	var a, b, c float64 // the information matrix
	const h = 1e-3
	for w := range weeks {
		t := float64(w + 1)
		da := s.Rise(t)
		dd := (s.Rise(t-h) - s.Rise(t+h)) / (2 * h)
		v := s.Dispersion * s.mean(t, 1, 0)
		a += da * da / v
		b += da * dd / v
		c += dd * dd / v
	}
	return joint(a, b, c), joint(a+1/(s.LevelSD*s.LevelSD), b, c+1/(s.ShiftSD*s.ShiftSD))
}

func joint(a, b, c float64) Joint {
	det := a*c - b*b
	return Joint{math.Sqrt(c / det), math.Sqrt(a / det), -b / math.Sqrt(a*c)}
}

// The grid on which level and shift are weighed: wide enough for half a season
// and two months, fine enough for a tenth of what weeks can tell.
const (
	levelFrom, levelStep, levels = .1, .04, 58
	shiftFrom, shiftStep, shifts = -9.0, .1, 181
)

// Posterior weighs what came, weeks 1 to len(counts), NaN where nothing was
// observed. Without any it is what earlier years say.
func (s Season) Posterior(counts []float64) Timing {
	t := Timing{p: mat.NewDense(levels, shifts, nil)}
	rise := make([]float64, len(counts))
	logp := make([]float64, levels)
	top := math.Inf(-1)
	for j := range shifts {
		shift := shiftFrom + float64(j)*shiftStep
		for w := range rise {
			rise[w] = s.Rise(float64(w+1) - shift)
		}
		for i := range logp {
			level := levelFrom + float64(i)*levelStep
			sum := 0.0
			for w, y := range counts {
				if !math.IsNaN(y) {
					mu := max(1e-9, s.Base+level*rise[w])
					sum += y*math.Log(mu) - mu
				}
			}
			a, d := (level-1)/s.LevelSD, shift/s.ShiftSD
			logp[i] = sum/s.Dispersion - a*a/2 - d*d/2
			t.p.Set(i, j, logp[i])
			top = max(top, logp[i])
		}
	}
	t.p.Apply(func(_, _ int, v float64) float64 { return math.Exp(v - top) }, t.p)
	s.blur(t.p)
	t.p.Scale(1/mat.Sum(t.p), t.p)
	return t
}

// blur spreads the shifts by DateSD.
func (s Season) blur(p *mat.Dense) {
	reach := int(3 * s.DateSD / shiftStep)
	if reach == 0 {
		return
	}
	kernel := make([]float64, 2*reach+1)
	for k := range kernel {
		z := float64(k-reach) * shiftStep / s.DateSD
		kernel[k] = math.Exp(-z * z / 2)
	}
	to := make([]float64, shifts)
	for i := range levels {
		from := p.RawRowView(i)
		clear(to)
		for j, v := range from {
			for k, w := range kernel {
				if at := j + k - reach; at >= 0 && at < shifts {
					to[at] += v * w
				}
			}
		}
		copy(from, to)
	}
}

// Timing is the joint posterior of a season's level and shift. Make one with
// [Season.Posterior].
type Timing struct{ p *mat.Dense }

// Level gives the level's distribution: 1 is a usual season.
func (t Timing) Level() Grid {
	g := Grid{from: levelFrom, step: levelStep, p: make([]float64, levels)}
	for i := range g.p {
		for _, v := range t.p.RawRowView(i) {
			g.p[i] += v
		}
	}
	return g
}

// Shift gives the distribution of the delay, in weeks; early is below 0.
func (t Timing) Shift() Grid {
	g := Grid{from: shiftFrom, step: shiftStep, p: make([]float64, shifts)}
	for i := range levels {
		for j, v := range t.p.RawRowView(i) {
			g.p[j] += v
		}
	}
	return g
}

// Correlation gives that of level and shift.
func (t Timing) Correlation() float64 {
	l, s := t.Level(), t.Shift()
	level, shift, sum := l.Mean(), s.Mean(), 0.0
	for i := range levels {
		for j, v := range t.p.RawRowView(i) {
			sum += v * (l.at(i) - level) * (s.at(j) - shift)
		}
	}
	return sum / (l.SD() * s.SD())
}

// Within gives the chance that the level and the shift (in weeks) lie within
// limits, which may be infinite: a season at least a week late and at least a
// tenth low is Within(-Inf, .9, 1, Inf).
func (t Timing) Within(levelLow, levelHigh, shiftLow, shiftHigh float64) float64 {
	sum := 0.0
	for i := range levels {
		share := overlap(levelFrom+float64(i)*levelStep, levelStep, levelLow, levelHigh)
		if share == 0 {
			continue
		}
		for j, v := range t.p.RawRowView(i) {
			sum += v * share * overlap(shiftFrom+float64(j)*shiftStep, shiftStep, shiftLow, shiftHigh)
		}
	}
	return sum
}

// overlap gives the share of a cell that lies within limits.
func overlap(mid, width, low, high float64) float64 {
	return max(0, min(mid+width/2, high)-max(mid-width/2, low)) / width
}

// Grid is the distribution of a value on a grid, even within its cells.
type Grid struct {
	from, step float64 // middle of the first cell; width
	p          []float64
}

func (g Grid) at(i int) float64 { return g.from + float64(i)*g.step }

// Mean gives the mean.
func (g Grid) Mean() float64 {
	sum := 0.0
	for i, p := range g.p {
		sum += p * g.at(i)
	}
	return sum
}

// SD gives the standard deviation.
func (g Grid) SD() float64 {
	mean, sum := g.Mean(), 0.0
	for i, p := range g.p {
		sum += p * (g.at(i) - mean) * (g.at(i) - mean)
	}
	return math.Sqrt(sum)
}

// Quantile gives the value with the share p below it.
func (g Grid) Quantile(p float64) float64 {
	sum := 0.0
	for i, v := range g.p {
		if v > 0 && sum+v >= p {
			return g.at(i) + g.step*((p-sum)/v-.5)
		}
		sum += v
	}
	return g.at(len(g.p)-1) + g.step/2
}

// DateError gives the standard deviation, in days, of the day by which the
// share p of a season's n events is in: √(φp(1−p)/n)/f, where f is the season's
// density a day around that day and φ the dispersion (the usual large-sample
// error of a quantile).
func DateError(p, n, density, dispersion float64) float64 {
	return math.Sqrt(dispersion*p*(1-p)/n) / density
}
