package combine

import (
	"math"

	"freshet/forecast"
)

// Recent fits another model to the last Steps steps alone: for a model whose
// season never changes, when the world's does.
type Recent struct {
	Of    forecast.Model
	Steps int
}

func (m Recent) String() string { return m.Of.String() }

// Fit fits the other model, and returns its error.
func (m Recent) Fit(s forecast.Series) (forecast.Fit, error) {
	before := max(0, s.Len()-m.Steps)
	fit, err := m.Of.Fit(s.Slice(before, s.Len()))
	if err != nil || before == 0 {
		return fit, err
	}
	return &recentFit{fit, before}, nil
}

type recentFit struct {
	forecast.Fit
	before int // steps that it didn't see
}

// Fitted is NaN for the steps left out.
func (f *recentFit) Fitted() []float64 {
	out := make([]float64, f.before, f.before+1)
	for t := range out {
		out[t] = math.NaN()
	}
	return append(out, f.Fit.Fitted()...)
}

// Parameters gives those of the other model, if it can tell them.
func (f *recentFit) Parameters() map[string]float64 { return parameters(f.Fit) }
