package combine

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat"

	"freshet/forecast"
)

// Log forecasts the logarithms of positive values by another model: changes
// and season are then in proportion to the level, and no value is negative.
type Log struct{ Of forecast.Model }

// Root forecasts the square roots of values of 0 or more by another model: a
// season that comes down to 0 is then narrow there and wide at its height. No
// value is negative.
type Root struct{ Of forecast.Model }

func (m Log) String() string  { return "log " + m.Of.String() }
func (m Root) String() string { return "root " + m.Of.String() }

// Fit fits the other model to the logarithms. It returns an error if a value
// isn't positive, and that of the other model.
func (m Log) Fit(s forecast.Series) (forecast.Fit, error) {
	return transform(s, m.Of, math.Log, exp, func(v float64) error {
		if v > 0 {
			return nil
		}
		return fmt.Errorf("forecast: %v needs values above 0, has %v", m, v)
	})
}

// Fit fits the other model to the square roots. It returns an error if a value
// is negative, and that of the other model.
func (m Root) Fit(s forecast.Series) (forecast.Fit, error) {
	return transform(s, m.Of, math.Sqrt, square, func(v float64) error {
		if v >= 0 {
			return nil
		}
		return fmt.Errorf("forecast: %v needs values of 0 or more, has %v", m, v)
	})
}

// exp keeps a hopeless extrapolation finite.
func exp(v float64) float64 { return math.Exp(min(v, 230)) }

// square undoes a root; a root below 0 stands for 0.
func square(v float64) float64 { return max(0, v) * max(0, v) }

func transform(s forecast.Series, of forecast.Model, there, back func(float64) float64, check func(float64) error) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	values := make([]float64, s.Len())
	for t, v := range s.Values {
		if values[t] = math.NaN(); !math.IsNaN(v) {
			if err := check(v); err != nil {
				return nil, err
			}
			values[t] = there(v)
		}
	}
	fit, err := of.Fit(s.Like(values))
	if err != nil {
		return nil, err
	}
	return &transformed{fit, back}, nil
}

// transformed is a fit of values that back turns into those of the series.
type transformed struct {
	of   forecast.Fit
	back func(float64) float64
}

// Fitted gives what was expected, turned back: the middle rather than the mean.
func (f *transformed) Fitted() []float64 {
	out := f.of.Fitted()
	for t, v := range out {
		if !math.IsNaN(v) {
			out[t] = f.back(v)
		}
	}
	return out
}

// Parameters gives those of the other model, if it can tell them.
func (f *transformed) Parameters() map[string]float64 { return parameters(f.of) }

func (f *transformed) Forecast(h int) forecast.Forecast {
	out := f.of.Forecast(h)
	dists := make([]forecast.Dist, h)
	for j, d := range out.Dists {
		dists[j] = backDist{d, f.back}
	}
	out.Dists = dists
	return out
}

func (f *transformed) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := f.of.Simulate(h, n, rng)
	for i, v := range p.Values {
		p.Values[i] = f.back(v)
	}
	return p
}

// backDist is a distribution with every value turned back by a function that
// never falls.
type backDist struct {
	of   forecast.Dist
	back func(float64) float64
}

func (d backDist) Quantile(p float64) float64 { return d.back(d.of.Quantile(p)) }

// Mean is that of the midpoints, without the outermost half percents: the
// exponential of Student's t has no mean, and none should hang on such a tail.
func (d backDist) Mean() float64 {
	var m midpoints
	return stat.Mean(m.of(d), nil)
}
