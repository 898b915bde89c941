// Package smooth holds exponential smoothing by least squares: simple, double
// (Holt) and triple (Holt-Winters, additive and multiplicative), as in the
// NIST/SEMATECH e-Handbook of Statistical Methods, 6.4.3, and as R's
// stats::HoltWinters computes them. The season is updated with the new level.
//
// The smoothing constants lie in [0, 1], and are those with the least sum of
// squared one-step errors, unless given. The state before the first error
// comes from R's rule, or is given (HandbookTrend and HandbookSeason make the
// handbook's), or with FreeStart its level and trend are chosen by least
// squares too. A step that was not observed moves the level along the trend
// and changes nothing else.
//
// The package refuses a series shorter than two seasons for Holt-Winters, unless
// its start is given, and values that aren't positive for its multiplicative
// form. It makes no choice between models and knows no likelihood: that is what
// package ets is for.
//
// To use it: smooth.HoltWinters{}.Fit(series), then Forecast or Simulate. A
// period that isn't whole is rounded.
package smooth

import (
	"fmt"
	"math"
	"strings"

	"freshet/forecast"
)

// Simple is single exponential smoothing (NIST 6.4.3.1): the level is
// S = alpha y + (1-alpha) S. By R's rule it starts as the first value, and the
// second is the first one forecast.
type Simple struct {
	Alpha     Constant
	Start     *State // nil: R's rule
	FreeStart bool   // the start by least squares too, every step counting
}

// Double is double exponential smoothing, or Holt's method (NIST 6.4.3.3):
// S = alpha y + (1-alpha)(S+b) with trend b = beta (S-S') + (1-beta) b'. By
// R's rule it starts as the line through the first two values, and the third
// is the first one forecast.
type Double struct {
	Alpha, Beta Constant
	Start       *State // nil: R's rule
	FreeStart   bool   // the start by least squares too, every step counting
}

// HoltWinters is triple exponential smoothing (NIST 6.4.3.5, whose beta is our
// Gamma and the other way round): S = alpha (y-I) + (1-alpha)(S+b), trend as
// in Double, season I = gamma (y-S) + (1-gamma) I', or with y/I and y/S if
// Multiplicative. By R's rule it starts from the classical decomposition of
// the first two seasons, level and trend being the least squares line through
// its trend, and the second season is the first one forecast.
type HoltWinters struct {
	Multiplicative     bool
	Alpha, Beta, Gamma Constant
	Start              *State // nil: R's rule
	FreeStart          bool   // level and trend of the start by least squares too
}

// A Constant is a smoothing constant. The zero value says that it's to be
// estimated.
type Constant struct {
	value float64
	given bool
}

// Fixed gives a constant that isn't estimated. It panics if v is outside
// [0, 1].
func Fixed(v float64) Constant {
	if !(v >= 0 && v <= 1) {
		panic(fmt.Sprintf("smooth: need a constant from 0 to 1, have %v", v))
	}
	return Constant{v, true}
}

func (m Simple) String() string { return label("simple-smoothing", m.FreeStart, m.Start, m.Alpha) }

func (m Double) String() string {
	return label("double-smoothing", m.FreeStart, m.Start, m.Alpha, m.Beta)
}

func (m HoltWinters) String() string {
	name := "holt-winters-additive"
	if m.Multiplicative {
		name = "holt-winters-multiplicative"
	}
	return label(name, m.FreeStart, m.Start, m.Alpha, m.Beta, m.Gamma)
}

// names are those of the parameters, in the order of vector.
var names = [...]string{"alpha", "beta", "gamma", "level", "trend"}

func label(name string, free bool, start *State, constants ...Constant) string {
	var b strings.Builder
	b.WriteString(name)
	for i, c := range constants {
		if c.given {
			fmt.Fprintf(&b, " %s=%g", names[i], c.value)
		}
	}
	if start != nil {
		b.WriteString(" start=given")
	}
	if free {
		b.WriteString(" start=free")
	}
	return b.String()
}

// Fit estimates the model. It returns a *forecast.TooShort if no step is left
// to forecast after the start.
func (m Simple) Fit(s forecast.Series) (forecast.Fit, error) {
	return fit(s, spec{name: m.String(), constants: [3]Constant{m.Alpha, Fixed(0), Fixed(0)}, given: m.Start,
		start: func() (State, error) { return firstValue(s, m.FreeStart) }, free: [5]bool{3: m.FreeStart}})
}

// Fit estimates the model. It returns a *forecast.TooShort if no step is left
// to forecast after the start.
func (m Double) Fit(s forecast.Series) (forecast.Fit, error) {
	return fit(s, spec{name: m.String(), constants: [3]Constant{m.Alpha, m.Beta, Fixed(0)}, given: m.Start,
		start: func() (State, error) { return firstLine(s, m.FreeStart, m.String()) }, free: [5]bool{3: m.FreeStart, 4: m.FreeStart}})
}

// Fit estimates the model. It returns an error if s has no season or if m is
// multiplicative and a value isn't positive, and, unless the start is given, a
// *forecast.TooShort if s is shorter than two seasons, counted from its first
// observed step, and an error if fewer than half of these were observed.
func (m HoltWinters) Fit(s forecast.Series) (forecast.Fit, error) {
	if s.Period >= 1 && s.Lag() < 2 {
		return nil, fmt.Errorf("forecast: %s needs a season of 2 steps or more, have %d", m, s.Lag())
	}
	for i, v := range s.Values {
		if m.Multiplicative && v <= 0 {
			return nil, fmt.Errorf("forecast: %s needs values above 0, have %v at step %d", m, v, i+1)
		}
	}
	return fit(s, spec{name: m.String(), multiplicative: m.Multiplicative, seasonal: true,
		constants: [3]Constant{m.Alpha, m.Beta, m.Gamma}, given: m.Start,
		start: func() (State, error) { return firstSeasons(s, m.Multiplicative, m.String()) },
		free:  [5]bool{3: m.FreeStart, 4: m.FreeStart}})
}

// spec is what the three models come down to.
type spec struct {
	name                     string
	multiplicative, seasonal bool
	constants                [3]Constant // alpha, beta, gamma
	given                    *State
	start                    func() (State, error)
	free                     [5]bool // start's level and trend, the constants being added
}

func fit(s forecast.Series, c spec) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	start, err := c.given.checked(s, c)
	if err == nil && c.given == nil {
		start, err = c.start()
	}
	if err != nil {
		return nil, err
	}
	if !c.seasonal {
		// Without a season the recursion runs on one of one step, zero for good.
		start.Season = []float64{0}
	}
	errs := forecast.Series{Values: s.Values[min(start.At, s.Len()):]}.Observed()
	if errs == 0 {
		have := s.Len() // up to the last one observed
		for have > 0 && math.IsNaN(s.Values[have-1]) {
			have--
		}
		return nil, &forecast.TooShort{Model: c.name, Need: start.At + 1, Have: have}
	}

	x := vector{3: start.Level, 4: start.Trend}
	p := newProblem(s.Values, c.multiplicative, start)
	for i, k := range c.constants {
		c.free[i] = !k.given
		x[i] = k.value
	}
	x, sse := p.minimize(x, c.free)
	if math.IsInf(sse, 1) {
		return nil, fmt.Errorf("forecast: %s: the level falls to zero with alpha %g, beta %g, gamma %g", c.name, x[0], x[1], x[2])
	}
	estimated := 0
	for _, free := range c.free {
		if free {
			estimated++
		}
	}
	f := &Fit{start: s.End(), step: s.Step, rule: x.rule(c.multiplicative), sse: sse, seasonal: c.seasonal}
	f.finish(p, x, errs, estimated)
	return f, nil
}
