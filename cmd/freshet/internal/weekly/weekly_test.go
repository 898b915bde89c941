package weekly

import (
	"flag"
	"fmt"
	"testing"
	"time"
	_ "time/tzdata"
)

var minutes = flag.Bool("minutes", false, "try every minute of three years and every quarter hour of the week as a schedule, not a part")

// places are zones with each habit of clocks that is known: none, the usual
// hour, half an hour, changes at midnight, on a Friday, on days that are told at
// short notice, twice around one month, and a day that was left out (Apia,
// December 30, 2011).
var places = []place{
	{"America/New_York", 2024}, {"Europe/Berlin", 2024}, {"Australia/Lord_Howe", 2024}, {"Africa/Cairo", 2023}, {"Asia/Beirut", 2022}, {"America/Santiago", 2022},
	{"America/Asuncion", 2022}, {"Africa/Casablanca", 2024}, {"Pacific/Apia", 2010}, {"Asia/Kolkata", 2024}, {"UTC", 2024}, {"America/Sao_Paulo", 2017},
}

type place struct {
	zone string
	from int // the first of three years
}

// span gives the zone and its three years.
func span(t *testing.T, p place) (loc *time.Location, from, until time.Time) {
	t.Helper()
	if testing.Short() && p.zone != "America/New_York" && p.zone != "America/Asuncion" && p.zone != "Pacific/Apia" {
		t.Skip("a second each under the race detector")
	}
	loc, err := time.LoadLocation(p.zone)
	if err != nil {
		t.Fatal(err)
	}
	return loc, time.Date(p.from, 1, 1, 0, 0, 0, 0, loc), time.Date(p.from+3, 1, 1, 0, 0, 0, 0, loc)
}

// Every moment of the civil clock in three years is one instant: the first that
// shows it, and for those that were skipped, the first instant after the gap.
// What clocks show is found by watching one tick.
func TestEachMomentOnce(t *testing.T) {
	step := 15 * time.Minute
	if *minutes {
		step = time.Minute
	}
	for _, p := range places {
		t.Run(p.zone, func(t *testing.T) {
			t.Parallel()
			loc, from, until := span(t, p)
			next := civil(from) // the first moment that no clock has shown or skipped
			gaps, tried := 0, 0
			for now := from; now.Before(until); now = now.Add(step) {
				shows := civil(now.In(loc))
				for ; !next.After(shows); next = next.Add(step) {
					if next.Before(shows) {
						gaps++
					}
					tried++
					if have := instant(next, loc); !have.Equal(now) {
						t.Fatalf("%s: want it at %v, have %v", next.Format(time.DateTime), now, have)
					}
				}
			}
			forward := false
			for _, end := range changes(loc, from, until) {
				_, before := end.Add(-time.Second).Zone()
				_, after := end.Zone()
				forward = forward || after > before
			}
			if forward != (gaps > 0) {
				t.Errorf("want gaps where clocks go forward and nowhere else, have %d moments in gaps", gaps)
			}
			if tried < int((until.Sub(from)-time.Hour)/step) { // one that begins in summer and ends in winter is an hour shorter
				t.Errorf("want every moment tried, have %d", tried)
			}
		})
	}
}

// changes gives the instants at which clocks change.
func changes(loc *time.Location, from, until time.Time) (at []time.Time) {
	for now := from; ; {
		_, now = now.In(loc).ZoneBounds()
		if now.IsZero() || !now.Before(until) {
			return at
		}
		at = append(at, now)
	}
}

// A weekly slot comes once in each week of three years, whatever its hour; it
// is known from its instant on, and not a moment before.
func TestEachSlotOnce(t *testing.T) {
	for _, p := range places {
		t.Run(p.zone, func(t *testing.T) {
			t.Parallel()
			loc, from, until := span(t, p)
			days := map[time.Weekday]bool{}
			for _, end := range changes(loc, from, until) {
				days[end.Add(-time.Minute).In(loc).Weekday()], days[end.Weekday()] = true, true
			}
			if len(days) == 0 {
				days[time.Monday] = true
			}
			for day := time.Sunday; day <= time.Saturday; day++ {
				if !days[day] && !*minutes {
					continue
				}
				for quarter := range 4 * 24 {
					if !*minutes && (quarter > 4*3 && quarter < 4*23 && quarter != 4*6 || quarter%2 == 1) {
						continue // far from any change
					}
					text := fmt.Sprintf("%d %d * * %d", quarter%4*15, quarter/4, day)
					s, err := Parse(text)
					if err != nil {
						t.Fatal(err)
					}
					weeks := 0
					first := from.Day() + 14 + (int(day)-int(from.Weekday())+7)%7 + 2 // two days after: the day after may be one that was left out
					for last, now := (time.Time{}), time.Date(from.Year(), 1, first, 12, 0, 0, 0, loc); now.Before(until); now = time.Date(from.Year(), 1, first+7*weeks, 12, 0, 0, 0, loc) {
						slot, ok := s.Last(now, loc)
						if !ok || slot.After(now) {
							t.Fatalf("%s: no slot in the days before %v, have %v", text, now, slot)
						}
						if at, ok := s.Last(slot, loc); !ok || !at.Equal(slot) {
							t.Fatalf("%s: want %v known at its instant, have %v", text, slot, at)
						}
						if before, ok := s.Last(slot.Add(-time.Nanosecond), loc); !ok || !last.IsZero() && !before.Equal(last) {
							t.Fatalf("%s: want %v until %v, have %v", text, last, slot, before)
						}
						if !last.IsZero() {
							if d := monday(slot, loc).Sub(monday(last, loc)); d != 7*24*time.Hour {
								t.Fatalf("%s: want the week after %v, have %v", text, last, slot)
							}
						}
						last = slot
						weeks++
					}
					if weeks < 154 {
						t.Errorf("%s: want a slot in each week, have %d", text, weeks)
					}
				}
			}
		})
	}
}

// monday gives the Monday of the civil day of an instant.
func monday(t time.Time, loc *time.Location) time.Time {
	c := civil(t.In(loc))
	return time.Date(c.Year(), c.Month(), c.Day()-(int(c.Weekday())+6)%7, 0, 0, 0, 0, time.UTC)
}

func TestGapAndFold(t *testing.T) {
	ny, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ civil, want string }{
		{"2025-03-09 02:30", "2025-03-09T03:00:00-04:00"}, // skipped: the first instant after
		{"2025-11-02 01:30", "2025-11-02T01:30:00-04:00"}, // twice: the first
		{"2025-07-04 06:00", "2025-07-04T06:00:00-04:00"},
	} {
		at, err := time.Parse("2006-01-02 15:04", c.civil)
		if err != nil {
			t.Fatal(err)
		}
		if have := instant(at, ny).Format(time.RFC3339); have != c.want {
			t.Errorf("%s: want %s, have %s", c.civil, c.want, have)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{"", "TZ=0", "TZ=UTC 0 6 * * 1", "@every 5s", "0 6 * *", "61 6 * * 1", "monday"} {
		if _, err := Parse(text); err == nil {
			t.Errorf("%q: want an error", text)
		}
	}
}
