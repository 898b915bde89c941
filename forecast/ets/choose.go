package ets

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// guesses are where searches set out from: a search begins at the likeliest
// of them, and one that comes close to the best tries the first few as well,
// since the likelihood can have several peaks.
var guesses = [...]constants{
	{.3, .03, .05, .95}, {.03, .025, .02, .97}, {.7, .1, .02, .85}, {.03, .001, .5, .9},
	{.001, .0005, .001, .9}, {.95, .01, .01, .9}, {.1, .05, .3, .9}, {.5, .01, .3, .98},
}

const (
	again   = 4    // guesses that a close search tries again
	near    = 4    // AICc from the best that counts as close
	coarse  = 1e-3 // deviance that a comparison may miss
	precise = 1e-8 // deviance that the chosen model may miss
)

// estimate is a member with the most likely constants and starting state
// found for it.
type estimate struct {
	model     Model
	price     float64 // AICc less deviance
	from      int     // the guess it began at
	aicc      float64
	constants constants
	first     state
}

// Fit estimates the model, or the best of those it allows. Values are scaled
// to a mean size of 1 meanwhile.
//
// It returns an error if the series is unusable, a *forecast.TooShort if the
// smallest allowed model has more parameters than the history can bear (5
// observed steps for simple smoothing), and an error for multiplicative parts
// on values at or below 0 or a season outside of 2 to MaxPeriod steps. It
// panics if the model is outside of the family.
func (m Model) Fit(s forecast.Series) (forecast.Fit, error) {
	members, warnings, err := m.candidates(s)
	if err != nil {
		return nil, err
	}
	scale := meanSize(s.Values)
	y := make([]float64, s.Len())
	for t, v := range s.Values {
		y[t] = v / scale
	}
	best := choose(members, s.Like(y))
	if math.IsInf(best.aicc, 1) {
		return nil, fmt.Errorf("forecast: %v needs expected values above 0, found none", m)
	}
	st := best.first
	st.level *= scale
	st.slope *= scale
	if best.model.Season == Additive {
		for i := range st.season {
			st.season[i] *= scale
		}
	}
	return newFit(best.model, best.constants, st.centred(best.model), s, warnings)
}

// choose gives the member with the least AICc on s, whose values have a mean
// size of 1; the AICc is +Inf if no member has a start with positive means. A
// search is left once it can't be expected to win.
func choose(members []Model, s forecast.Series) estimate {
	lag := 1
	if slices.ContainsFunc(members, Model.seasonal) {
		lag = s.Lag()
	}
	w := newSearch(s.Values, lag)
	full := s.Fill()
	rough := map[Part]state{} // by the member's season
	tried := make([]estimate, len(members))
	best := &estimate{aicc: math.Inf(1)}
	try := func(e *estimate, c constants, st state, tolerance float64) {
		w.use(e.model, c, st)
		w.minimise(tolerance, best.aicc-e.price)
		if aicc := w.value + e.price; aicc < e.aicc {
			e.aicc, e.constants = aicc, w.constants(w.x)
			season := e.first.season
			e.first = w.start(w.x)
			e.first.season = append(season[:0], e.first.season...)
		}
		if e.aicc < best.aicc {
			best = e
		}
	}
	for i, m := range members {
		if _, ok := rough[m.Season]; !ok {
			rough[m.Season] = roughStart(full, lag, m.Season)
		}
		p, n := float64(m.free(s.Lag())), float64(s.Observed())
		e := &tried[i]
		*e = estimate{model: m, price: 2*p + 2*p*(p+1)/(n-p-1), aicc: math.Inf(1)}
		low := math.Inf(1)
		for j, g := range guesses {
			if w.use(m, g, rough[m.Season]); w.value < low {
				low, e.from = w.value, j
			}
		}
		if math.IsInf(low, 1) { // means reach 0: start where they hardly move
			try(e, constants{edge, edge, edge, phiLo}, flatStart(lag, m.Season), coarse)
			continue
		}
		try(e, guesses[e.from], rough[m.Season], coarse)
	}
	for i := range tried {
		for j := range again {
			if e := &tried[i]; j != e.from && e.aicc < best.aicc+near {
				try(e, guesses[j], rough[e.model.Season], coarse)
			}
		}
	}
	if !math.IsInf(best.aicc, 1) {
		try(best, best.constants, best.first, precise)
	}
	return *best
}
