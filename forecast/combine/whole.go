package combine

import (
	"math"
	"math/rand/v2"

	"freshet/forecast"
)

// Whole rounds another model's futures to whole numbers of 0 or more: for
// counts that are seen as values.
type Whole struct{ Of forecast.Model }

func (m Whole) String() string { return m.Of.String() + ", whole numbers" }

// Fit fits the other model, and returns its error.
func (m Whole) Fit(s forecast.Series) (forecast.Fit, error) {
	fit, err := m.Of.Fit(s)
	if err != nil {
		return nil, err
	}
	return &whole{fit}, nil
}

type whole struct{ forecast.Fit }

// Parameters gives those of the other model, if it can tell them.
func (f *whole) Parameters() map[string]float64 { return parameters(f.Fit) }

func (f *whole) Forecast(h int) forecast.Forecast {
	out := f.Fit.Forecast(h)
	dists := make([]forecast.Dist, h)
	for j, d := range out.Dists {
		dists[j] = wholeDist{d}
	}
	out.Dists = dists
	return out
}

func (f *whole) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := f.Fit.Simulate(h, n, rng)
	for i, v := range p.Values {
		p.Values[i] = round(v)
	}
	return p
}

type wholeDist struct{ of forecast.Dist }

// Mean is the other one's, which rounding hardly moves, at 0 or more.
func (d wholeDist) Mean() float64 { return max(0, d.of.Mean()) }

func (d wholeDist) Quantile(p float64) float64 { return round(d.of.Quantile(p)) }

func round(v float64) float64 { return max(0, math.Round(v)) }
