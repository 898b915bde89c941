package desk

import (
	"math"
	"testing"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/workload"
)

// Each path's season has a date of its own, as far from the usual one as seasons
// are.
func TestShiftSeason(t *testing.T) {
	s, _ := invented(3, 5, forecast.NewDate(2026, 3, 2))
	fit, err := workload.Counts(s.known).Fit(s.known.Total)
	if err != nil {
		t.Fatal(err)
	}
	f := fit.(*counts.Fit)
	means := forecast.NewPaths(s.ask.AsOf, forecast.Week, 26, 4*seasonDates)
	for i := range means.Values {
		means.Values[i] = 20
	}
	shiftSeason(means, f)
	early, usual, late := means.Path(0), means.Path(seasonDates/2), means.Path(4*seasonDates-1)
	for week := range 5 { // March, on the way up
		if !(early[week] > 21 && late[week] < 19 && math.Abs(usual[week]-20) < 1e-9) {
			t.Errorf("week %d: early %.1f, usual %.1f, late %.1f where 20 would be usual", week, early[week], usual[week], late[week])
		}
	}
	// A path has one date, which its weeks tell: it is what the season usually is
	// so much earlier. Together they spread as seasons do.
	sq := 0.0
	for d := range seasonDates {
		var at float64
		for least, late := math.Inf(1), -4.0; late < 4; late += .01 {
			sum := 0.0
			for week, v := range means.Path(d) {
				sum += math.Abs(v/20*f.Season(float64(week)) - f.Season(float64(week)-late))
			}
			if sum < least {
				least, at = sum, late
			}
		}
		sq += at * at / seasonDates
	}
	if sd := math.Sqrt(sq); math.Abs(sd/seasonShiftSD-1) > .05 {
		t.Errorf("dates spread by %.2f weeks, want %.2f", sd, seasonShiftSD)
	}
}
