// Package ets forecasts by exponential smoothing in state-space form: a level,
// perhaps a trend and a season, each corrected by a share of the last error
// (Hyndman, Koehler, Ord and Snyder 2008, "HKOS" below).
//
// It is for series with a short season (up to 24 steps), such as monthly or
// quarterly ones, and, without a season, for any series whose season has been
// taken out before. It fits by maximum likelihood and chooses among the family
// by the corrected Akaike criterion.
//
// It refuses multiplicative trends and additive errors with multiplicative
// seasons, which are unstable; multiplicative parts on values that aren't all
// positive; and seasons longer than 24 steps, since 52 free starting values
// are seldom worth their price: take such a season out with package stl, or
// use package harmonic. An Auto season leaves a long one out with a warning.
//
// A value that wasn't observed teaches nothing: the state is carried forward,
// and the likelihood counts the observed steps alone.
//
// To use it: Model{} chooses everything, Model{Error, Trend, Season} fixes
// what is known, and [Fixed] applies known constants without estimating.
package ets

import (
	"fmt"
	"math"

	"freshet/forecast"
)

// Part says how one of error, trend and season enters a model.
type Part uint8

// The parts of a model. Not every one suits every place; see Model.
const (
	Auto           Part = iota // choose by AICc
	None                       // left out
	Additive                   // added
	Damped                     // added, and fading as it is carried forward
	Multiplicative             // multiplied
)

// MaxPeriod is the longest season that gets a state of its own.
const MaxPeriod = 24

// Model is a member of the family, or with Auto parts the best of several.
// Error is Additive or Multiplicative; Trend is None, Additive or Damped;
// Season is None, Additive or Multiplicative, the latter only with
// Multiplicative errors. The zero Model chooses every part.
//
// The season's length is the series' Period in whole steps (Series.Lag).
type Model struct {
	Error, Trend, Season Part
}

// String names the model as HKOS do, such as ETS(A,Ad,N); Z stands for a part
// still to be chosen.
func (m Model) String() string {
	name := [...]string{"Z", "N", "A", "Ad", "M"}
	return fmt.Sprintf("ETS(%s,%s,%s)", name[m.Error], name[m.Trend], name[m.Season])
}

// check panics unless m is in the family.
func (m Model) check() {
	if m.Error == None || m.Error == Damped || m.Trend == Multiplicative || m.Season == Damped ||
		m.Error == Additive && m.Season == Multiplicative {
		panic(fmt.Sprintf("ets: %v is outside the family", m))
	}
}

// covers tells whether the member c is one that m allows.
func (m Model) covers(c Model) bool {
	fits := func(want, have Part) bool { return want == Auto || want == have }
	return fits(m.Error, c.Error) && fits(m.Trend, c.Trend) && fits(m.Season, c.Season)
}

// positive tells whether the model needs positive values.
func (m Model) positive() bool { return m.Error == Multiplicative || m.Season == Multiplicative }

// seasonal tells whether the member has a season.
func (m Model) seasonal() bool { return m.Season > None }

// states counts the free starting values for a season of lag steps.
func (m Model) states(lag int) int {
	n := 1
	if m.Trend > None {
		n++
	}
	if m.seasonal() {
		n += lag - 1 // they sum to 0, or to lag
	}
	return n
}

// constants counts the smoothing constants, damping among them.
func (m Model) constants() int {
	n := 1
	if m.Trend > None {
		n++
	}
	if m.Trend == Damped {
		n++
	}
	if m.seasonal() {
		n++
	}
	return n
}

// free counts all that is estimated: constants, starting values, variance.
func (m Model) free(lag int) int { return m.constants() + m.states(lag) + 1 }

// family lists the members, those with fewer parts first.
var family = func() (out []Model) {
	for _, season := range []Part{None, Additive, Multiplicative} {
		for _, trend := range []Part{None, Additive, Damped} {
			for _, err := range []Part{Additive, Multiplicative} {
				if err == Multiplicative || season != Multiplicative {
					out = append(out, Model{err, trend, season})
				}
			}
		}
	}
	return out
}()

// candidates gives the members that m allows and the series can bear, and the
// doubts about leaving others out. It returns an error if none remains.
func (m Model) candidates(s forecast.Series) (out []Model, warnings []error, err error) {
	m.check()
	if err := s.Check(); err != nil {
		return nil, nil, err
	}
	lag, n := s.Lag(), s.Observed()
	positive := true
	for _, v := range s.Values {
		positive = positive && !(v <= 0)
	}
	switch {
	case m.positive() && !positive:
		return nil, nil, fmt.Errorf("forecast: %v needs values above 0, have some at or below", m)
	case m.seasonal() && lag == 1:
		return nil, nil, fmt.Errorf("forecast: %v needs a season of 2 steps or more, have none", m)
	case m.seasonal() && lag > MaxPeriod:
		return nil, nil, fmt.Errorf("forecast: %v needs a season of at most %d steps, have %d: take it out with package stl or use harmonic", m, MaxPeriod, lag)
	case m.Season == Auto && lag > MaxPeriod:
		warnings = append(warnings, fmt.Errorf("forecast: %v takes seasons of at most %d steps, have %d: fitted without one", m, MaxPeriod, lag))
	}
	need := math.MaxInt
	short := false
	for _, c := range family {
		switch {
		case !m.covers(c), c.positive() && !positive, c.seasonal() && (lag == 1 || lag > MaxPeriod):
		case n < c.free(lag)+2: // AICc divides by n-p-1
			need = min(need, c.free(lag)+2)
			short = short || c.seasonal()
		default:
			out = append(out, c)
		}
	}
	if len(out) == 0 {
		return nil, nil, &forecast.TooShort{Model: m.String(), Need: need, Have: n}
	}
	if short {
		warnings = append(warnings, fmt.Errorf("forecast: %v has %d steps, too few for every model with a season of %d", m, n, lag))
	}
	if last := out[len(out)-1]; last.seasonal() && s.Period != float64(lag) {
		warnings = append(warnings, fmt.Errorf("forecast: %v rounds the period %v to %d steps", m, s.Period, lag))
	}
	return out, warnings, nil
}
