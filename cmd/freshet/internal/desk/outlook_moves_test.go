package desk

import (
	"math"
	"testing"
	"time"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
)

// A shop of 10 drop-offs a week, twice that in summer, half again as many in
// the last half year, closed on Christmas Day: each part is read back, and all
// of them together make the forecast.
func TestMoves(t *testing.T) {
	asOf := forecast.NewDate(2026, 11, 23)
	calendar := capacity.DefaultCalendar()
	book := &workload.Book{Kinds: []string{"all"}, Open: calendar.OpenShare,
		Events: []workload.Event{{Name: "rally", From: forecast.NewDate(2026, 12, 8), Until: forecast.NewDate(2026, 12, 9), Effect: workload.Known}}}
	for monday := forecast.NewDate(2021, 1, 4); monday < asOf; monday += forecast.Week {
		n := 10.0
		if m := monday.Time().Month(); m >= time.June && m <= time.August {
			n = 20
		}
		if monday >= asOf-lately*forecast.Week {
			n *= 1.5
		}
		n *= calendar.OpenDays(monday, monday+forecast.Week) / calendar.UsualDays()
		for range int(math.Round(n)) {
			book.Jobs = append(book.Jobs, workload.Job{DroppedOff: monday})
		}
	}
	s := &shop{book: book, known: book.Known(asOf), calendar: calendar}
	var weeks []OutlookWeek
	for j := range 36 {
		weeks = append(weeks, OutlookWeek{Week: asOf + forecast.Date(j*forecast.Week), DropOffs: forecast.Spread{Mean: 12}})
	}
	moves := s.moves(s.known.Total.Values, weeks)
	for j, m := range moves {
		if made := m.Level * m.Season * m.OpenDays / m.UsualDays * m.Rest; m.OpenDays > 0 && math.Abs(made-12) > 1e-9 {
			t.Errorf("%v: the parts make %g of 12", weeks[j].Week, made)
		}
	}
	is := func(what string, have, low, high float64) {
		t.Helper()
		if !(have >= low && have <= high) {
			t.Errorf("%s: want %g to %g, have %g", what, low, high, have)
		}
	}
	march, july, christmas := moves[15], moves[33], moves[4]
	// A year of 39 weeks at 10 and 13 at 20 has a mean of 12.5. The last half
	// year is in the shape too, a fifth of which it raises by half at the most.
	is("the level", march.Level, 1.3*12.5, 1.6*12.5)
	is("March", march.Season, .7, .9)
	is("July", july.Season, 1.4, 1.8)
	is("Christmas week", christmas.OpenDays, 4, 4)
	if !march.SeasonKnown || len(moves[2].Events) != 1 || moves[2].Events[0] != "rally" || len(march.Events) != 0 {
		t.Errorf("have %+v and %+v", moves[2], march)
	}
	book.Jobs = book.Jobs[len(book.Jobs)-200:]
	s.known = book.Known(asOf)
	if young := s.moves(s.known.Total.Values, weeks)[15]; young.SeasonKnown || young.Season != 1 {
		t.Errorf("a season from some weeks: %+v", young)
	}
}
