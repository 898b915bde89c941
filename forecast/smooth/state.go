package smooth

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// State is what smoothing knows before the step At, counted from 0: the level
// and trend of the step before, and for Holt-Winters the season of the next m
// steps, the first serving At. Errors count from At.
type State struct {
	At           int
	Level, Trend float64
	Season       []float64
}

// checked gives a copy of a given start, or an error if it doesn't suit s.
func (st *State) checked(s forecast.Series, c spec) (State, error) {
	if st == nil {
		return State{}, nil
	}
	m := 0
	if c.seasonal {
		m = s.Lag()
	}
	if st.At < 0 || len(st.Season) != m {
		return State{}, fmt.Errorf("forecast: %s needs a start at step 0 or later with %d figures of the season, have step %d with %d", c.name, m, st.At, len(st.Season))
	}
	for _, v := range append([]float64{st.Level, st.Trend}, st.Season...) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return State{}, fmt.Errorf("forecast: %s needs a finite start, have %v", c.name, *st)
		}
	}
	if c.multiplicative && (st.Level+st.Trend <= 0 || slices.Min(st.Season) <= 0) {
		return State{}, fmt.Errorf("forecast: %s needs a start above 0, have %v", c.name, *st)
	}
	out := *st
	out.Season = slices.Clone(st.Season)
	return out, nil
}

// observed gives the first observed step at or after from, or len(values).
func observed(values []float64, from int) int {
	for from < len(values) && math.IsNaN(values[from]) {
		from++
	}
	return from
}

// firstValue is R's start of simple smoothing. If it is to be freed, the
// first step counts too.
func firstValue(s forecast.Series, free bool) (State, error) {
	t := observed(s.Values, 0)
	st := State{At: t + 1, Level: s.Values[t]}
	if free {
		st.At = t
	}
	return st, nil
}

// firstLine is R's start of double smoothing. If it is to be freed, the first
// step counts too.
func firstLine(s forecast.Series, free bool, name string) (State, error) {
	t := observed(s.Values, 0)
	u := observed(s.Values, t+1)
	if u == s.Len() {
		return State{}, &forecast.TooShort{Model: name, Need: 3, Have: 1}
	}
	st := State{At: u + 1, Level: s.Values[u], Trend: (s.Values[u] - s.Values[t]) / float64(u-t)}
	if free {
		st.At, st.Level = t, s.Values[t]-st.Trend
	}
	return st, nil
}

// firstSeasons is R's start of Holt-Winters. The line's intercept stands one
// step before the first value of the decomposition's trend; R takes it for
// the level of step m-1 all the same, and so do we.
func firstSeasons(s forecast.Series, multiplicative bool, name string) (State, error) {
	m, from := s.Lag(), observed(s.Values, 0)
	if have := s.Len() - from; have < 2*m {
		return State{}, &forecast.TooShort{Model: fmt.Sprintf("%s with period %d", name, m), Need: 2 * m, Have: have}
	}
	d, err := forecast.Decompose(s.Slice(from, from+2*m), multiplicative)
	if err != nil {
		return State{}, err
	}
	trend := slices.DeleteFunc(d.Trend.Values, math.IsNaN)
	n := float64(len(trend))
	mean, slope := 0.0, 0.0
	for i, v := range trend {
		mean += v / n
		slope += v * (float64(i+1) - (n+1)/2)
	}
	slope /= n * (n*n - 1) / 12
	st := State{At: from + m, Level: mean - slope*(n+1)/2, Trend: slope, Season: slices.Clone(d.Figure())}
	if multiplicative && st.Level+st.Trend <= 0 {
		return State{}, fmt.Errorf("forecast: %s needs a level above 0 to start from, have %v", name, st.Level)
	}
	return st, nil
}

// HandbookTrend gives a start of double smoothing as the NIST/SEMATECH
// e-Handbook, 6.4.3.3: the first value, with the mean change over the first
// three steps as trend. It returns an error if one of the first four values
// is missing.
func HandbookTrend(s forecast.Series) (State, error) {
	if n := s.Slice(0, min(4, s.Len())).Observed(); n < 4 {
		return State{}, fmt.Errorf("forecast: the handbook's start needs the first 4 values, have %d", n)
	}
	return State{At: 1, Level: s.Values[0], Trend: (s.Values[3] - s.Values[0]) / 3}, nil
}

// HandbookSeason gives a start of Holt-Winters as the NIST/SEMATECH
// e-Handbook, 6.4.3.5: the trend is the mean over one season of the change to
// the next, in steps; the season is the mean over all whole seasons of the
// values over (or less) their season's mean. The level is the first season's
// mean, put back along the trend to the step before the first.
//
// It returns a *forecast.TooShort without two whole seasons, and an error if
// a value in a whole season is missing, or isn't positive if multiplicative.
func HandbookSeason(s forecast.Series, multiplicative bool) (State, error) {
	m := s.Lag()
	seasons := s.Len() / m
	if m < 2 || seasons < 2 {
		return State{}, &forecast.TooShort{Model: "the handbook's start", Need: 2 * max(m, 2), Have: s.Len()}
	}
	st := State{Season: make([]float64, m)}
	for k := range seasons {
		of := s.Values[k*m : (k+1)*m]
		mean := 0.0
		for i, v := range of {
			if math.IsNaN(v) || multiplicative && v <= 0 {
				return State{}, fmt.Errorf("forecast: the handbook's start needs every value, above 0 if multiplicative, have %v at step %d", v, k*m+i+1)
			}
			mean += v / float64(m)
		}
		for i, v := range of {
			if multiplicative {
				st.Season[i] += v / mean / float64(seasons)
			} else {
				st.Season[i] += (v - mean) / float64(seasons)
			}
		}
		switch k {
		case 0:
			st.Level = mean
		case 1:
			st.Trend = (mean - st.Level) / float64(m)
		}
	}
	st.Level -= st.Trend * float64(m+1) / 2
	return st, nil
}
