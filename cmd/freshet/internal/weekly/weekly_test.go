package weekly

import (
	"testing"
	"time"
	_ "time/tzdata"
)

// Every civil quarter of an hour over three years, in zones with and without
// clock changes, is one instant; the instants rise, and asking at any later
// moment of the week names the same slot.
func TestEachSlotOnce(t *testing.T) {
	s, err := Parse("30 2 * * 0") // the hour that spring skips and autumn doubles in many zones
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"America/New_York", "America/Denver", "Europe/Berlin", "Australia/Lord_Howe", "Africa/Cairo", "America/Santiago", "Africa/Casablanca", "Asia/Kolkata", "UTC"} {
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		slots := map[time.Time]bool{}
		weeks := 0
		for now := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC); now.Year() < 2027; now = now.Add(7 * time.Hour) {
			slot, ok := s.Last(now, loc)
			if !ok {
				t.Fatalf("%s: no slot in the week before %v", name, now)
			}
			if slot.After(now) {
				t.Fatalf("%s: slot %v lies after %v", name, slot, now)
			}
			if !slots[slot] {
				slots[slot] = true
				weeks++
			}
		}
		// 2024 to 2026 hold 157 Sundays' slots counting the one before the start.
		if weeks < 156 || weeks > 158 {
			t.Errorf("%s: want one slot a week, have %d in three years", name, weeks)
		}
		days := map[string]int{}
		for slot := range slots {
			y, w := slot.In(loc).ISOWeek()
			days[time.Date(y, 1, w, 0, 0, 0, 0, time.UTC).String()]++
		}
		for week, n := range days {
			if n != 1 {
				t.Errorf("%s: %d slots in one week (%s)", name, n, week)
			}
		}
	}
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
