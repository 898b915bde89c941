package ets

import (
	"fmt"
	"slices"

	"freshet/forecast"
)

// Fixed is a member of the family with everything given and nothing
// estimated: for known constants, or those of an earlier fit. Constants and
// states that its Model lacks are ignored.
type Fixed struct {
	Model                   Model // without Auto
	Alpha, Beta, Gamma, Phi float64
	Level, Slope            float64   // before the first step
	Season                  []float64 // of the first steps, one for each place in the season
}

// String names the member and its constants.
func (x Fixed) String() string {
	c := x.constants()
	out := fmt.Sprintf("%v at alpha %g", x.Model, c.alpha)
	if x.Model.Trend > None {
		out += fmt.Sprintf(", beta %g", c.beta)
	}
	if x.Model.seasonal() {
		out += fmt.Sprintf(", gamma %g", c.gamma)
	}
	if x.Model.Trend == Damped {
		out += fmt.Sprintf(", phi %g", c.phi)
	}
	return out
}

// Fit runs the recursion through s. Its likelihood counts the parameters as
// if they had been estimated.
//
// It returns the errors of Model.Fit, and one if Season isn't as long as the
// season, or if the recursion leaves the range of numbers.
// It panics if the Model is outside of the family or has Auto parts.
func (x Fixed) Fit(s forecast.Series) (forecast.Fit, error) {
	m := x.Model
	if m.Error == Auto || m.Trend == Auto || m.Season == Auto {
		panic(fmt.Sprintf("ets: fixed constants need a fixed model, have %v", m))
	}
	_, warnings, err := m.candidates(s)
	if err != nil {
		return nil, err
	}
	st := state{level: x.Level}
	if m.Trend > None {
		st.slope = x.Slope
	}
	if m.seasonal() {
		if len(x.Season) != s.Lag() {
			return nil, fmt.Errorf("forecast: %v needs %d seasonals, have %d", x, s.Lag(), len(x.Season))
		}
		st.season = slices.Clone(x.Season)
	}
	f, err := newFit(m, x.constants(), st, s, warnings)
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (x Fixed) constants() constants {
	c := constants{alpha: x.Alpha, phi: 1}
	if x.Model.Trend > None {
		c.beta = x.Beta
	}
	if x.Model.Trend == Damped {
		c.phi = x.Phi
	}
	if x.Model.seasonal() {
		c.gamma = x.Gamma
	}
	return c
}
