package watch

import (
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

func TestMisuse(t *testing.T) {
	track := NewTrack(forecast.NewPaths(0, 7, 2, 1), 5, []float64{1})
	year := forecast.Series{Step: 7, Period: 52, Values: make([]float64, 300)}
	forecasttest.Refuses(t, "watch: ", map[string]func(){
		"more weeks than the paths have":   func() { NewTrack(forecast.NewPaths(0, 7, 1, 1), 5, []float64{1, 2}) },
		"no multiples":                     func() { track.Changes(nil, 1) },
		"a multiple of 0":                  func() { track.Changes([]float64{0}, 1) },
		"changes of no steps":              func() { track.Changes([]float64{2}, 0) },
		"a window before the first week":   func() { track.Window(-1, 1) },
		"a window of nothing":              func() { track.Window(1, 1) },
		"a window beyond what came":        func() { track.Window(0, 2) },
		"the mean of a week to come":       func() { track.Mean(1) },
		"a weight of 0":                    func() { EWMA{SD: 1, Width: 3}.Limits(5) },
		"a weight above 1":                 func() { EWMA{Lambda: 1.1, SD: 1, Width: 3}.Limits(5) },
		"a week that the series lacks":     func() { Classic().Bound(year, year.Len()) },
		"more levels than the year has":    func() { Farrington{Years: 4, Half: 3, Levels: 47}.Bound(year, 290) },
		"a chart that starts beyond":       func() { CUSUM{Slack: .5, Limit: 4, Start: 5}.RunLength(0) },
		"a chart without a limit":          func() { CUSUM{Slack: .5}.RunLength(0) },
		"a chart without slack":            func() { LimitFor(0, 500) },
		"a run length of 2":                func() { LimitFor(.5, 2) },
		"counts without a limit":           func() { PoissonCUSUM{Reference: 2}.RunLength(1) },
		"counts that start at their limit": func() { PoissonCUSUM{Reference: 2, Limit: 3, Start: 3}.RunLength(1) },
		"a cluster of one":                 func() { Scan{K: 1, Window: 10, Span: 365}.Naus(.01) },
		"a window of half the span":        func() { Scan{K: 3, Window: 200, Span: 365}.Naus(.01) },
		"a rate below 0":                   func() { Scan{K: 3, Window: 10, Span: 365}.Alm(-1) },
		"a cluster of more than all":       func() { Scan{K: 4, Window: 10, Span: 365}.Fixed(3) },
		"a season of no weeks":             func() { Season{}.Errors(0) },
		"a segment of no steps":            func() { LevelChange([]float64{1, 2, 3, 4}, 0) },
	})
}

// A bound beyond which nothing is expected: at a mean of 0 no count is likely,
// and a cluster that a window usually holds has a chance of 1.
func TestScanOfTheUsual(t *testing.T) {
	if p := (Scan{K: 2, Window: 50, Span: 365}).Naus(3); p != 1 {
		t.Errorf("two of three a day within 50 days: want 1, have %v", p)
	}
	if p := (Scan{K: 3, Window: 10, Span: 365}).Naus(0); p != 0 {
		t.Errorf("nothing ever comes: want 0, have %v", p)
	}
	for rate := .01; rate < 2; rate *= 1.1 {
		if p := (Scan{K: 3, Window: 10, Span: 365}).Alm(rate); !(p >= 0 && p <= 1) {
			t.Errorf("at %.2g a day: want a chance, have %v", rate, p)
		}
	}
}
