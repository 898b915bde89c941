// Package naive holds the forecasts to beat: the same step a season ago, the
// last value, the line from the first value to the last, and the plain mean
// (Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 5.2 and
// 5.5); and [Profile], what a careful spreadsheet does.
//
// All but Profile, which wants a whole season, have no settings and refuse
// nothing but a series that fails its Check. Ranges are normal, from the errors
// that the rule made one step (or one season) ahead; they are not cut off at
// zero. Unobserved steps are looked through: the last observed value stands for
// them, and the range grows by the steps that it is old.
//
// To use it: naive.Seasonal{}.Fit(series), then Forecast or Simulate.
package naive

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// Seasonal forecasts each step by the same step a season ago, Lag steps back.
// Its variance is that of one season's change times the whole seasons ahead.
// Without two values a season apart it is Last, with a warning.
type Seasonal struct{}

// Last forecasts every step by the last value, with the variance of one
// step's change times the steps ahead.
type Last struct{}

// Drift follows the line through the first value and the last. Its variance
// holds that of the slope: sd²h(1 + h/T), T the steps between the two.
type Drift struct{}

// Mean forecasts every step by the mean of all T values, with variance
// sd²(1 + 1/T).
type Mean struct{}

func (Seasonal) String() string { return "seasonal-naive" }
func (Last) String() string     { return "last-value" }
func (Drift) String() string    { return "drift" }
func (Mean) String() string     { return "mean" }

var (
	errNoSeason = errors.New("forecast: need two values a season apart, have none: the last value stands for every step")
	errNoSpread = errors.New("forecast: need two values for a range, have one: the range is empty")
)

// Fit finds the last value of each position in the season.
func (Seasonal) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if f := walk(s, s.Lag()); f.used > 0 {
		return f, nil
	}
	f := walk(s, 1)
	f.warn(errNoSeason)
	return f, nil
}

// Fit finds the last value.
func (Last) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	return walk(s, 1), nil
}

// Fit draws the line.
func (Drift) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	f := walk(s, 1)
	first := 0
	for math.IsNaN(s.Values[first]) {
		first++
	}
	steps := float64(s.Len() - 1 - f.age[0] - first)
	if f.used < 2 {
		// One change is all slope: it leaves nothing to tell a range from.
		f.warn(fmt.Errorf("forecast: a drift needs 3 values, have %d: the last value stands for every step", s.Observed()))
		return f, nil
	}
	f.slope = (f.base[0] - s.Values[first]) / steps
	f.base[0] += f.slope * float64(f.age[0])
	// An error over gap steps has gap times the variance of one.
	sum, last := 0.0, first
	for t := first + 1; t < s.Len(); t++ {
		gap := float64(t - last)
		f.fitted[t] += f.slope * gap
		if y := s.Values[t]; !math.IsNaN(y) {
			e := y - f.fitted[t]
			sum += e * e / gap
			last = t
		}
	}
	f.sd = math.Sqrt(sum / float64(f.used-1))
	f.slopeSD = f.sd / math.Sqrt(steps)
	return f, nil
}

// Fit takes the mean.
func (Mean) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	f := &fit{start: s.End(), step: s.Step, lag: 1, base: []float64{math.NaN()}, age: []int{0}, fitted: make([]float64, s.Len()), still: true}
	mean, squares, n := 0.0, 0.0, 0.0
	for t, y := range s.Values {
		f.fitted[t] = f.base[0]
		if !math.IsNaN(y) {
			n++
			d := y - mean
			mean += d / n
			squares += d * (y - mean)
			f.base[0] = mean
		}
	}
	if n < 2 {
		f.warn(errNoSpread)
		return f, nil
	}
	f.sd = math.Sqrt(squares / (n - 1))
	f.baseSD = f.sd / math.Sqrt(n)
	return f, nil
}

// fit is all four rules: each position of the season starts from base and
// either stays there or walks, one step a season.
type fit struct {
	start           forecast.Date
	step, lag       int
	fitted          []float64
	base            []float64 // of the next lag steps, first to last
	age             []int     // seasons that base is older than one
	slope           float64   // a step
	sd              float64   // of one step of the walk, or of a value about the mean
	slopeSD, baseSD float64   // of the estimates
	still           bool      // doesn't walk
	used            int       // changes that sd is made of
	warnings        []error
}

func (f *fit) warn(err error) { f.warnings = append(f.warnings, err) }

// walk fits one random walk to each of lag positions, with one variance. A
// position that was never observed starts from the last value of all.
func walk(s forecast.Series, lag int) *fit {
	n := s.Len()
	f := &fit{start: s.End(), step: s.Step, lag: lag, base: make([]float64, lag), age: make([]int, lag), fitted: make([]float64, n)}
	lastAt, sum := 0, 0.0
	seen := make([]int, lag) // step after the position's last one, 0 if none
	for t, y := range s.Values {
		f.fitted[t] = math.NaN()
		p := seen[t%lag] - 1
		if p >= 0 {
			f.fitted[t] = s.Values[p]
		}
		if math.IsNaN(y) {
			continue
		}
		if p >= 0 {
			e := y - s.Values[p]
			sum += e * e / float64((t-p)/lag)
			f.used++
		}
		seen[t%lag], lastAt = t+1, t
	}
	if f.used > 0 {
		f.sd = math.Sqrt(sum / float64(f.used))
	} else {
		f.warn(errNoSpread)
	}
	never := 0
	for j := range lag {
		if t := seen[(n+j)%lag] - 1; t >= 0 {
			f.base[j], f.age[j] = s.Values[t], (n+j-t)/lag-1
			continue
		}
		f.base[j], f.age[j] = s.Values[lastAt], (n-1-lastAt)/lag
		never++
	}
	if never > 0 {
		f.warn(fmt.Errorf("forecast: %d of %d positions in the season were never observed: the last value stands for them", never, lag))
	}
	return f
}

// Fitted gives what the rule made of the steps before each one; the slope of a
// drift is that of the whole series.
func (f *fit) Fitted() []float64 { return append([]float64(nil), f.fitted...) }

// Parameters gives the spread of one change, and the slope where there is one.
func (f *fit) Parameters() map[string]float64 {
	p := map[string]float64{"sd": f.sd}
	if f.slopeSD > 0 || f.slope != 0 {
		p["slope"] = f.slope
	}
	return p
}

// Forecast gives normal distributions, or points where nothing ever changed.
func (f *fit) Forecast(h int) forecast.Forecast {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step ahead, have %d", h))
	}
	out := forecast.Forecast{Start: f.start, Step: f.step, Dists: make([]forecast.Dist, h), Warnings: f.warnings}
	for j := range out.Dists {
		steps := 1.0
		if !f.still {
			steps = float64(j/f.lag + 1 + f.age[j%f.lag])
		}
		ahead := float64(j + 1)
		// Fit lets a slope be only where lag is 1, so that its age counts steps.
		old := ahead + float64(f.age[j%f.lag])
		sd := math.Sqrt(f.sd*f.sd*steps + old*old*f.slopeSD*f.slopeSD + f.baseSD*f.baseSD)
		mu := f.base[j%f.lag] + f.slope*ahead
		out.Dists[j] = forecast.Point(mu)
		if sd > 0 {
			out.Dists[j] = distuv.Normal{Mu: mu, Sigma: sd}
		}
	}
	return out
}

// Simulate draws the walks, and for each path its own slope and mean.
func (f *fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := forecast.NewPaths(f.start, f.step, h, n)
	for i := range n {
		path := p.Path(i)
		offset := f.baseSD * rng.NormFloat64()
		tilt := f.slopeSD * rng.NormFloat64()
		for j := range path {
			k := j % f.lag
			switch {
			case f.still:
				path[j] = f.base[0] + offset + f.sd*rng.NormFloat64()
			case j < f.lag:
				path[j] = f.base[k] + f.slope + tilt*float64(1+f.age[k]) + f.sd*math.Sqrt(float64(1+f.age[k]))*rng.NormFloat64()
			default:
				path[j] = path[j-f.lag] + f.slope + tilt + f.sd*rng.NormFloat64()
			}
		}
	}
	return p
}
