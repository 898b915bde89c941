package combine

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// Cleaned fits another model as if values that can only be errors, such as a
// comma that slipped, had not been observed; the warnings name them.
type Cleaned struct{ Of forecast.Model }

func (m Cleaned) String() string { return m.Of.String() }

// Fit fits the other model, and returns its error.
func (m Cleaned) Fit(s forecast.Series) (forecast.Fit, error) {
	errors := blunders(s)
	if len(errors) == 0 {
		return m.Of.Fit(s)
	}
	fit, err := m.Of.Fit(without(s, errors))
	if err != nil {
		return nil, err
	}
	f := &cleanedFit{Fit: fit}
	for _, t := range errors {
		f.warnings = append(f.warnings, fmt.Errorf("the %g at step %d fits neither the values near it nor its season, and was left out", s.Values[t], t+1))
	}
	return f, nil
}

type cleanedFit struct {
	forecast.Fit
	warnings []error
}

func (f *cleanedFit) Forecast(h int) forecast.Forecast {
	out := f.Fit.Forecast(h)
	out.Warnings = append(slices.Clone(f.warnings), out.Warnings...)
	return out
}

// Parameters gives those of the other model, if it can tell them.
func (f *cleanedFit) Parameters() map[string]float64 { return parameters(f.Fit) }

// without gives the series as if some steps had not been observed.
func without(s forecast.Series, steps []int) forecast.Series {
	values := slices.Clone(s.Values)
	for _, t := range steps {
		values[t] = math.NaN()
	}
	return s.Like(values)
}

const (
	// gross is how many usual deviations a value lies beyond all that are like
	// it to be an error. Of the 141,858 values of M3's monthly training parts
	// 22 are.
	gross = 15
	near  = 4 // steps before and after that a value is held against
)

// blunders gives the steps whose values lie grossly outside of all those near
// them and of those of the same season a year before and after. What is usual
// is the median of how far values lie from the middle of their neighbours, so
// that shifting or scaling the series changes nothing.
func blunders(s forecast.Series) []int {
	var (
		lag   = s.Lag()
		like  = make([]float64, 0, 2*near+6)
		off   = make([]float64, 0, s.Len())
		apart = make([]float64, s.Len()) // beyond the most extreme one like it
	)
	for t, v := range s.Values {
		if math.IsNaN(v) {
			continue
		}
		like = like[:0]
		add := func(from, to int) {
			for i := max(0, from); i <= min(to, s.Len()-1); i++ {
				if i != t && !math.IsNaN(s.Values[i]) {
					like = append(like, s.Values[i])
				}
			}
		}
		add(t-near, t+near)
		if len(like) < near {
			continue
		}
		slices.Sort(like)
		off = append(off, math.Abs(v-(like[(len(like)-1)/2]+like[len(like)/2])/2))
		if lag > 1 {
			add(t-lag-1, t-lag+1)
			add(t+lag-1, t+lag+1)
		}
		apart[t] = max(v-slices.Max(like), slices.Min(like)-v)
	}
	if len(off) < leastValues {
		return nil
	}
	slices.Sort(off)
	usual := off[len(off)/2]
	if usual == 0 {
		// Most values are the same; what the others are like tells, all but
		// the one in question.
		for _, d := range off[:len(off)-1] {
			usual += d / float64(len(off)-1)
		}
	}
	var out []int
	for t, d := range apart {
		if d > gross*usual {
			out = append(out, t)
		}
	}
	return out
}
