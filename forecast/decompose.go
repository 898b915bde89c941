package forecast

import (
	"fmt"
	"math"
)

// Decompose splits s classically: the trend is the centred moving average
// over one season of m = s.Lag() steps (2 x m with half weights at both ends
// if m is even), the season is the mean of what the trend leaves, by position
// in the season, centred to mean 0, or to mean 1 if multiplicative (Hyndman
// and Athanasopoulos, Forecasting: Principles and Practice, 3.4). The numbers
// are those of R's stats::decompose.
//
// Trend and Remainder are NaN for the m/2 steps at either end; Seasonal
// covers every step. A step that was not observed is bridged by a straight
// line for the trend, has no say in the season unless its position was never
// observed (a warning says so), and has no remainder.
//
// It returns an error if s has no season or fewer than half its steps
// observed, if multiplicative and a value isn't positive, and a *TooShort if
// s is shorter than two seasons.
func Decompose(s Series, multiplicative bool) (Decomposition, error) {
	const name = "classical decomposition"
	if err := s.Check(); err != nil {
		return Decomposition{}, err
	}
	n, m := s.Len(), s.Lag()
	switch seen := s.Observed(); {
	case m < 2:
		return Decomposition{}, fmt.Errorf("forecast: %s needs a season of 2 steps or more, have %d", name, m)
	case n < 2*m:
		return Decomposition{}, &TooShort{Model: fmt.Sprintf("%s with period %d", name, m), Need: 2 * m, Have: n}
	case 2*seen < n:
		return Decomposition{}, fmt.Errorf("forecast: %s needs half of %d steps observed, have %d", name, n, seen)
	}
	if multiplicative {
		for i, v := range s.Values {
			if v <= 0 {
				return Decomposition{}, fmt.Errorf("forecast: a multiplicative season needs values above 0, have %v at step %d", v, i+1)
			}
		}
	}
	// without takes part b out of a, and is undone by joining them.
	without := func(a, b float64) float64 { return a - b }
	if multiplicative {
		without = func(a, b float64) float64 { return a / b }
	}

	full := s.Fill()
	trend := MovingMean(full, m)
	figure := make([]float64, m)
	bridged, total := 0, 0.0
	for k := range figure {
		var seen, all mean
		for t := k; t < n; t += m {
			if d := without(full[t], trend[t]); !math.IsNaN(d) {
				all.add(d)
				if !math.IsNaN(s.Values[t]) {
					seen.add(d)
				}
			}
		}
		if seen.n == 0 {
			seen = all
			bridged++
		}
		figure[k] = seen.value()
		total += figure[k]
	}
	d := Decomposition{Multiplicative: multiplicative}
	if bridged > 0 {
		d.Warnings = append(d.Warnings, fmt.Errorf("forecast: %d of %d positions in the season were never observed; their share comes from the steps beside them", bridged, m))
	}
	seasonal, remainder := make([]float64, n), make([]float64, n)
	for k := range figure {
		figure[k] = without(figure[k], total/float64(m))
	}
	for t := range n {
		seasonal[t] = figure[t%m]
		remainder[t] = without(without(s.Values[t], seasonal[t]), trend[t])
	}
	d.Trend, d.Seasonal, d.Remainder = s.Like(trend), s.Like(seasonal), s.Like(remainder)
	return d, nil
}

// Figure gives the seasonal of the first m = Seasonal.Lag() steps, in time
// order: all there is to know of a season that doesn't change, as Decompose
// makes it. It shares the values.
func (d Decomposition) Figure() []float64 { return d.Seasonal.Values[:d.Seasonal.Lag()] }

// MovingMean gives the centred moving average of v over m steps (2 x m with half
// weights at both ends if m is even), NaN where its window leaves v. Each window
// is summed afresh: a running sum would carry the rounding of one huge value to
// the end.
func MovingMean(v []float64, m int) []float64 {
	out := make([]float64, len(v))
	half := m / 2
	for t := range out {
		if t < half || t+half >= len(v) {
			out[t] = math.NaN()
			continue
		}
		sum := 0.0
		for _, x := range v[t-half : t+half+1] {
			sum += x
		}
		if m%2 == 0 {
			sum -= (v[t-half] + v[t+half]) / 2
		}
		out[t] = sum / float64(m)
	}
	return out
}

// mean gathers an average.
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(x float64) { m.sum += x; m.n++ }
func (m mean) value() float64 { return m.sum / float64(m.n) }
