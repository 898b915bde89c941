package forecast

import (
	"errors"
	"fmt"
	"math"
)

// The series that a shop has: a value a week, with a season that returns after
// a year.
const (
	Week        = 7             // days in a step
	WeeksAYear  = 365.25 / Week // steps in the season
	DaysPerYear = 365.25
)

// Series is an evenly spaced run of values.
//
// Start is the first day of the first step and Step the number of days in a
// step. Period is the season's length in steps, a real number: weekly data
// have 52.18; 1 means no season. A value that was not observed is NaN; 0
// means that nothing came.
type Series struct {
	Start  Date
	Step   int
	Period float64
	Values []float64
}

// Plain makes a series that has no dates, only an order: Start 0 and Step 1.
func Plain(values []float64, period float64) Series {
	return Series{Step: 1, Period: period, Values: values}
}

// Len gives the number of steps, unobserved ones included.
func (s Series) Len() int { return len(s.Values) }

// At gives the first day of step i, which may lie beyond the end.
func (s Series) At(i int) Date { return s.Start + Date(i*s.Step) }

// End gives the first day after the last step.
func (s Series) End() Date { return s.At(len(s.Values)) }

// Slice gives steps i to j-1. It shares the values.
func (s Series) Slice(i, j int) Series {
	return Series{Start: s.At(i), Step: s.Step, Period: s.Period, Values: s.Values[i:j]}
}

// Observed counts the values that are not NaN.
func (s Series) Observed() int {
	n := 0
	for _, v := range s.Values {
		if !math.IsNaN(v) {
			n++
		}
	}
	return n
}

// Phase gives where in the season the middle of step i lies, in cycles since
// the epoch: the fractional part is the place in the year. It is taken from
// the date, so that 53-week years don't drift.
func (s Series) Phase(i int) float64 {
	return (float64(s.Start) + (float64(i)+.5)*float64(s.Step)) / (s.Period * float64(s.Step))
}

// Lag gives the season's length in whole steps, at least 1.
func (s Series) Lag() int { return max(1, int(math.Round(s.Period))) }

// Like gives a series on the same steps with other values.
func (s Series) Like(values []float64) Series {
	s.Values = values
	return s
}

// Check reports what makes the series unusable for any model: a bad step or
// period, an infinite value, or nothing observed.
func (s Series) Check() error {
	switch {
	case s.Step < 1:
		return fmt.Errorf("forecast: need a step of 1 day or more, have %d", s.Step)
	case !(s.Period >= 1) || math.IsInf(s.Period, 0):
		return fmt.Errorf("forecast: need a period of 1 or more steps, have %v", s.Period)
	}
	seen := false
	for i, v := range s.Values {
		if math.IsInf(v, 0) || math.Abs(v) > maxMagnitude {
			return fmt.Errorf("forecast: need values from %g to %g, have %v at step %d", -maxMagnitude, maxMagnitude, v, i+1)
		}
		seen = seen || !math.IsNaN(v)
	}
	if !seen {
		return ErrNothingObserved
	}
	return nil
}

// maxMagnitude keeps squares and sums of values far from overflow.
const maxMagnitude = 1e100

// ErrNothingObserved says that a series holds no observed value.
var ErrNothingObserved = errors.New("forecast: need at least 1 observed value, have none")

// TooShort is the error of a model that needs a longer history.
type TooShort struct {
	Model      string
	Need, Have int // steps, as the model counts them
}

func (e *TooShort) Error() string {
	return fmt.Sprintf("forecast: %s needs %d steps, have %d", e.Model, e.Need, e.Have)
}

// Fill gives the values with unobserved ones replaced by a straight line
// between their observed neighbours, or the nearest one at the ends. The
// series must have an observed value; it panics if not.
func (s Series) Fill() []float64 {
	out := make([]float64, len(s.Values))
	copy(out, s.Values)
	last := -1
	for i, v := range s.Values {
		if math.IsNaN(v) {
			continue
		}
		switch {
		case last < 0:
			for j := range i {
				out[j] = v
			}
		default:
			for j := last + 1; j < i; j++ {
				w := float64(j-last) / float64(i-last)
				out[j] = out[last]*(1-w) + v*w
			}
		}
		last = i
	}
	if last < 0 && len(out) > 0 {
		panic(ErrNothingObserved)
	}
	for j := last + 1; j < len(out); j++ {
		out[j] = out[last]
	}
	return out
}
