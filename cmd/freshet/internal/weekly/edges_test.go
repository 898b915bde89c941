package weekly

import (
	"testing"
	"time"
)

func at(t *testing.T, text string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A slot is served for eight days, to the minute, by true time: also where
// clocks were changed since.
func TestLastLooksBackEightDays(t *testing.T) {
	for _, c := range []struct{ zone, schedule, now, want string }{
		{"UTC", "0 6 1 * *", "2026-05-01T05:59:00Z", ""},
		{"UTC", "0 6 1 * *", "2026-05-01T06:00:00Z", "2026-05-01T06:00:00Z"},
		{"UTC", "0 6 1 * *", "2026-05-08T18:00:00Z", "2026-05-01T06:00:00Z"},
		{"UTC", "0 6 1 * *", "2026-05-09T06:00:00Z", "2026-05-01T06:00:00Z"},
		{"UTC", "0 6 1 * *", "2026-05-09T06:00:01Z", ""},
		{"UTC", "0 6 1 * *", "2026-05-20T06:00:00Z", ""},
		{"UTC", "0 6 30 2 *", "2026-05-20T06:00:00Z", ""}, // never
		// Clocks went forward on March 8: seven days and 23.5 hours have passed,
		// though the clock shows half an hour more than eight days.
		{"America/New_York", "0 6 2 * *", "2026-03-10T06:30:00-04:00", "2026-03-02T06:00:00-05:00"},
		// They go back on November 1: the slot was at the first 1:30, and the
		// clock shows 1:15 once more.
		{"America/New_York", "30 1 * * 0", "2026-11-01T01:15:00-05:00", "2026-11-01T01:30:00-04:00"},
	} {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Parse(c.schedule)
		if err != nil {
			t.Fatal(err)
		}
		slot, ok := s.Last(at(t, c.now), loc)
		if ok != (c.want != "") || ok && !slot.Equal(at(t, c.want)) {
			t.Errorf("%s at %s: want %q, have %v, %v", c.schedule, c.now, c.want, slot, ok)
		}
	}
}

// What comes twice is meant the first time, east and west of Greenwich, by an
// hour and by half of one.
func TestInstantTakesTheFirst(t *testing.T) {
	for _, c := range []struct{ zone, civil, want string }{
		{"Europe/Berlin", "2025-10-26T02:30:00Z", "2025-10-26T02:30:00+02:00"},
		{"Europe/Berlin", "2025-10-26T03:00:00Z", "2025-10-26T03:00:00+01:00"},
		{"Australia/Lord_Howe", "2025-04-06T01:45:00Z", "2025-04-06T01:45:00+11:00"},
		{"Africa/Casablanca", "2025-02-23T02:15:00Z", "2025-02-23T02:15:00+01:00"},
		{"America/New_York", "2025-11-02T01:30:00Z", "2025-11-02T01:30:00-04:00"},
		{"America/New_York", "2025-11-02T02:00:00Z", "2025-11-02T02:00:00-05:00"},
	} {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		if have := instant(at(t, c.civil), loc); !have.Equal(at(t, c.want)) {
			t.Errorf("%s, %s: want %s, have %v", c.zone, c.civil, c.want, have)
		}
	}
}

// No text makes the parser panic.
func FuzzParse(f *testing.F) {
	for _, text := range []string{Usual, "TZ=0", "CRON_TZ=", "@weekly", "* * * * *", "0-59/7 0 1,2 JAN-DEC SUN", "1-0 6 * * 1", "*/0 * * * *", "0 6 L * 1", "-1 6 * * 8", "0 6 * * 1 ", "9999999999999999999 * * * *"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if s, err := Parse(text); err == nil {
			s.Last(time.Date(2026, 3, 9, 0, 0, 0, 0, time.UTC), time.UTC)
		}
	})
}
