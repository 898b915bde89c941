package stl

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/forecast/naive"
)

// Model forecasts by parts: Of forecasts the series without its season (and
// is told that it has none, by a period of 1), and the last season is added
// back (Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 5.7).
// Its ranges are those of Of, as in R's forecast::stlf: they leave out that
// the season is an estimate.
type Model struct {
	Of       forecast.Model // nil: naive.Last
	Settings Settings
}

func (m Model) of() forecast.Model {
	if m.Of == nil {
		return naive.Last{}
	}
	return m.Of
}

// String gives "stl-" with the name of the other model, and the settings that
// differ from the defaults.
func (m Model) String() string {
	var b strings.Builder
	b.WriteString("stl-" + m.of().String())
	for _, part := range []struct {
		name string
		s    Smoother
	}{{"season", m.Settings.Season}, {"trend", m.Settings.Trend}, {"lowpass", m.Settings.LowPass}} {
		if part.s != (Smoother{}) {
			fmt.Fprintf(&b, " %s=%d/%d/%d", part.name, part.s.Window, part.s.Degree, part.s.Jump)
		}
	}
	if m.Settings.Periodic {
		b.WriteString(" periodic")
	}
	if m.Settings.Robust {
		b.WriteString(" robust")
	}
	if m.Settings.Inner+m.Settings.Outer > 0 {
		fmt.Fprintf(&b, " loops=%d/%d", m.Settings.Inner, m.Settings.Outer)
	}
	return b.String()
}

// Fit returns the errors of Decompose, and those of the other model.
func (m Model) Fit(s forecast.Series) (forecast.Fit, error) {
	p, err := split(s, m.Settings)
	if err != nil {
		return nil, err
	}
	adjusted := slices.Clone(s.Values)
	for i := range adjusted {
		adjusted[i] -= p.seasonal[p.cell(i)]
	}
	rest := s.Like(adjusted)
	rest.Period = 1
	of, err := m.of().Fit(rest)
	if err != nil {
		return nil, err
	}
	return &fit{of, p, s.Len()}, nil
}

type fit struct {
	of forecast.Fit
	parts
	n int
}

// Fitted adds the season to what the other model expected. The season is
// known from the whole series, so that these look better than forecasts.
func (f *fit) Fitted() []float64 {
	out := f.of.Fitted()
	for i := range out {
		out[i] += f.seasonal[f.cell(i)]
	}
	return out
}

// Parameters gives those of the other model, if it can tell them.
func (f *fit) Parameters() map[string]float64 {
	if d, ok := f.of.(forecast.Describer); ok {
		return d.Parameters()
	}
	return nil
}

// Forecast moves the other model's distributions by the season.
func (f *fit) Forecast(h int) forecast.Forecast {
	out := f.of.Forecast(h)
	out.Dists = slices.Clone(out.Dists)
	for j, d := range out.Dists {
		out.Dists[j] = moved{d, f.ahead(f.n, j)}
	}
	return out
}

// Simulate moves the other model's paths by the season.
func (f *fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := f.of.Simulate(h, n, rng)
	for j := range h {
		by := f.ahead(f.n, j)
		for i := range n {
			p.Values[i*h+j] += by
		}
	}
	return p
}

// moved is a distribution with every value moved by the same amount.
type moved struct {
	forecast.Dist
	by float64
}

func (d moved) Mean() float64              { return d.Dist.Mean() + d.by }
func (d moved) Quantile(p float64) float64 { return d.Dist.Quantile(p) + d.by }
