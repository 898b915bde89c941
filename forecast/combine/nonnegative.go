package combine

import (
	"math/rand/v2"

	"freshet/forecast"
)

// NonNegative holds another model's futures at 0 or more: what would fall
// below 0 is 0, in paths and quantiles, and the mean is that of such values.
type NonNegative struct{ Of forecast.Model }

func (m NonNegative) String() string { return m.Of.String() + ", never negative" }

// Fit fits the other model, and returns its error.
func (m NonNegative) Fit(s forecast.Series) (forecast.Fit, error) {
	fit, err := m.Of.Fit(s)
	if err != nil {
		return nil, err
	}
	return &held{fit}, nil
}

type held struct{ forecast.Fit }

// Parameters gives those of the other model, if it can tell them.
func (f *held) Parameters() map[string]float64 { return parameters(f.Fit) }

func (f *held) Forecast(h int) forecast.Forecast {
	out := f.Fit.Forecast(h)
	dists := make([]forecast.Dist, h)
	for j, d := range out.Dists {
		dists[j] = heldDist{d}
	}
	out.Dists = dists
	return out
}

func (f *held) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := f.Fit.Simulate(h, n, rng)
	for i, v := range p.Values {
		p.Values[i] = max(0, v)
	}
	return p
}

type heldDist struct{ of forecast.Dist }

func (d heldDist) Quantile(p float64) float64 { return max(0, d.of.Quantile(p)) }

// Mean is the other one's, raised by the mean of what was below 0, the outermost
// half percent of it apart.
func (d heldDist) Mean() float64 {
	if d.of.Quantile(shares[0]) >= 0 {
		return max(0, d.of.Mean())
	}
	var m midpoints
	cut := 0.0
	for _, v := range m.of(d.of) {
		cut += max(0, -v) / perMember
	}
	return max(0, d.of.Mean()+cut)
}

// parameters gives those of a fit that can tell them.
func parameters(f forecast.Fit) map[string]float64 {
	if d, ok := f.(forecast.Describer); ok {
		return d.Parameters()
	}
	return nil
}
