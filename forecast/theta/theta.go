// Package theta forecasts by the Theta method: exponential smoothing of the
// season-free values with part of the slope of the straight line through them.
//
// It is hard to beat on short business series, and won the M3 competition
// (Assimakopoulos and Nikolopoulos 2000; in this form Hyndman and Billah
// 2003). [Model] gives the numbers of R's forecast::thetaf, but for two things:
// the ranges follow the season, wide where it is high, and a history with
// values of 0 or less gets an additive season. [Optimised] also learns how
// much of the slope to use, and lets it change.
//
// The package refuses a history less than half observed. It knows no events,
// no changing season and no season that isn't a whole number of steps: weeks
// are taken as 52 a year. Its ranges hold the pile-up of errors, not the
// uncertainty of the season or the constants.
//
// To use it: fit Model{} or Optimised{}, then ask for Forecast or Simulate.
package theta

import (
	"fmt"

	"freshet/forecast"
)

// Model is the Theta method. It has no settings.
type Model struct{}

// String names the model.
func (Model) String() string { return "theta method" }

// Fit finds whether there is a season, takes it out, and finds the smoothing
// constant and first level of maximum likelihood. It returns an error if the
// series fails Check or is less than half observed, and a *[forecast.TooShort]
// if it has fewer than 4 observed values.
func (m Model) Fit(s forecast.Series) (forecast.Fit, error) {
	return fitWith(m, 4, s, func(x []float64) engine { return newDrifting(x, smooth(x)) })
}

// Optimised is the dynamic optimised Theta model (Fiorucci, Pellegrini,
// Louzada, Petropoulos and Koehler 2016): the line is fitted anew at each
// step, to what was seen by then, and its part is estimated. It has no
// settings.
type Optimised struct{}

// String names the model.
func (Optimised) String() string { return "dynamic optimised theta model" }

// Fit is as Model's, but needs 8 observed values.
func (m Optimised) Fit(s forecast.Series) (forecast.Fit, error) {
	return fitWith(m, 8, s, func(x []float64) engine { return newDynamic(x) })
}

// fitWith does what both models have in common, around an engine made from
// season-free values.
func fitWith(m forecast.Model, least int, s forecast.Series, build func(x []float64) engine) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	seen := s.Observed()
	if seen < least {
		return nil, &forecast.TooShort{Model: m.String(), Need: least, Have: seen}
	}
	if 2*seen < s.Len() {
		return nil, fmt.Errorf("forecast: %s needs half of %d steps observed, have %d", m, s.Len(), seen)
	}
	season, warnings, err := findSeason(s)
	if err != nil {
		return nil, err
	}
	if n := s.Len() - seen; n > 0 {
		warnings = append(warnings, fmt.Errorf("forecast: %s: %d steps not observed were bridged by straight lines", m, n))
	}
	x := season.remove(s.Fill())
	f := &fit{engine: build(x), start: s.End(), days: s.Step, n: s.Len(), season: season, warnings: warnings}
	f.fitted = f.engine.expected(x)
	for t, v := range f.fitted {
		f.fitted[t] = season.add(t, v)
	}
	return f, nil
}
