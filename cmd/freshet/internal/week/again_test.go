package week

import (
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/ingest/store"
)

// Whoever asks for a week of which no report is kept is told which there are:
// weeks that follow each other as one span, also over a year of 53 weeks.
func TestWeeksKept(t *testing.T) {
	s := open(t)
	ask := func(want string) {
		t.Helper()
		_, err := MakeAgain(t.Context(), s.Store, forecast.NewDate(2026, 6, 1), s.now)
		if err == nil || !strings.Contains(err.Error(), "need a kept report of the week of Monday, June 1, 2026, have "+want) {
			t.Errorf("want %q, have %v", want, err)
		}
	}
	ask("none of any week: 'freshet serve' keeps")
	for _, day := range []forecast.Date{
		forecast.NewDate(2027, 1, 4), // kept out of order, as --as-of may
		forecast.NewDate(2026, 3, 2), forecast.NewDate(2026, 3, 8),
		forecast.NewDate(2026, 12, 21), forecast.NewDate(2027, 1, 1), // of 2026-W53
		forecast.NewDate(2027, 2, 3),
	} {
		if err := s.Store.KeepRun(t.Context(), store.Run{AsOf: day, DataUntil: day}); err != nil {
			t.Fatal(err)
		}
	}
	ask("those of 2026-W10, 2026-W52 to 2027-W01, 2027-W05")
}
