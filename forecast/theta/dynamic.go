package theta

import "math"

// dynamic is the dynamic optimised Theta model: equations of Fiorucci et al.
// 2016, section 3, from memory, with weight 1−1/θ. All is linear in the values,
// and the errors are linear in the first level and the weight, so that only
// alpha is searched for.
type dynamic struct {
	alpha, weight float64
	shift         float64 // taken off every value, for precision
	first         float64 // level before the first value, less shift
	sigma         float64
	last          line
}

// line is the state after n values: the smoothed level, and the least squares
// line through the values, a + b·t in steps t from 1.
type line struct {
	n          int
	level      float64
	mean, a, b float64
	decay      float64 // (1−α)^n
}

// next gives the line's part in the next value, weight 1.
func (l *line) next(alpha float64) float64 {
	return l.decay*l.a + (1-l.decay*(1-alpha))/alpha*l.b
}

// take moves the state by the value y.
func (l *line) take(y, alpha float64) {
	l.n++
	t := float64(l.n)
	l.level += alpha * (y - l.level)
	l.decay *= 1 - alpha
	l.b = ((t-2)*l.b + 6*(y-l.mean)/t) / (t + 1)
	if l.n == 1 {
		l.b = 0
	}
	l.mean += (y - l.mean) / t
	l.a = l.mean - (t+1)/2*l.b
}

// The paper counts errors from the third value on, when there is a line, and
// bounds the constants as its authors' R package forecTheta does (from memory).
const (
	uncounted  = 2
	leastAlpha = .1
	mostAlpha  = .99
	mostWeight = 1 - 1e-6
	constants  = 3     // alpha, first level, weight
	indistinct = 1e-10 // first level and line, told apart no better
)

func newDynamic(x []float64) *dynamic {
	d := &dynamic{shift: x[0]}
	d.alpha = search(func(alpha float64) float64 { _, _, sum := d.levelAndWeight(x, alpha); return sum }, leastAlpha, mostAlpha)
	d.first, d.weight, _ = d.levelAndWeight(x, d.alpha)
	squares := 0.0
	d.last = d.start()
	for t, v := range x {
		v -= d.shift
		if t >= uncounted {
			e := v - d.expect(&d.last)
			squares += e * e
		}
		d.last.take(v, d.alpha)
	}
	d.sigma = math.Sqrt(squares / float64(len(x)-uncounted-constants))
	return d
}

func (d *dynamic) start() line { return line{level: d.first, decay: 1} }

func (d *dynamic) expect(l *line) float64 { return l.level + d.weight*l.next(d.alpha) }

// levelAndWeight gives the best first level and weight for alpha and their sum
// of squared errors: least squares on (1−alpha)^t and the line's part, in two
// columns and within bounds.
func (d *dynamic) levelAndWeight(x []float64, alpha float64) (first, weight, squares float64) {
	var ee, eu, ec, uu, uc, cc float64
	l := line{decay: 1}
	for t, v := range x {
		v -= d.shift
		if t >= uncounted {
			e, u, c := v-l.level, l.decay, l.next(alpha)
			ee += e * e
			eu += e * u
			ec += e * c
			uu += u * u
			uc += u * c
			cc += c * c
		}
		l.take(v, alpha)
	}
	if det := uu*cc - uc*uc; det > indistinct*uu*cc {
		weight = max(0, min((uu*ec-uc*eu)/det, mostWeight))
	}
	first = (eu - weight*uc) / uu
	return first, weight, ee - 2*first*eu - 2*weight*ec + first*first*uu + 2*first*weight*uc + weight*weight*cc
}

func (d *dynamic) expected(x []float64) []float64 {
	out := make([]float64, len(x))
	l := d.start()
	for t, v := range x {
		if out[t] = d.shift + d.expect(&l); t < uncounted {
			out[t] = math.NaN() // the first level was free to miss these
		}
		l.take(v-d.shift, d.alpha)
	}
	return out
}

func (d *dynamic) means(h int) []float64 {
	out := make([]float64, h)
	l := d.last
	for j := range out {
		v := d.expect(&l)
		out[j] = d.shift + v
		l.take(v, d.alpha)
	}
	return out
}

func (d *dynamic) spread() float64 { return d.sigma }

// respond runs the same equations on the errors alone, from a state of 0.
func (d *dynamic) respond(errors, moved []float64) {
	l := line{n: d.last.n, decay: d.last.decay}
	for j, e := range errors {
		moved[j] = d.expect(&l) + e
		l.take(moved[j], d.alpha)
	}
}

func (d *dynamic) parameters() map[string]float64 {
	return map[string]float64{"alpha": d.alpha, "level": d.shift + d.last.level, "drift": d.weight * d.last.b,
		"sigma": d.sigma, "theta": 1 / (1 - d.weight)}
}
