package workers

import (
	"slices"
	"testing"
	"time"

	"freshet/ingest/store"
)

// TestDue has the night begin at two and the letter at its slot, both by the
// shop's own clock, the letter not before a first night, each once, and of what
// was missed the newest alone.
func TestDue(t *testing.T) {
	// 2026-11-30 is a Monday of week 49; New York is five hours behind UTC then.
	at := func(text string) time.Time {
		t.Helper()
		v, err := time.Parse("2006-01-02 15:04", text)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	night := func(day string) Shop { return Shop{"a", Night, day} }
	letter := func(week string) Shop { return Shop{"a", Letter, week} }
	for _, c := range []struct {
		what string
		r    store.Round
		now  string // UTC
		want []Shop
	}{
		{"a shop that is new", store.Round{}, "2026-11-30 07:00", []Shop{night("2026-11-30")}},
		{"before its first night", store.Round{}, "2026-11-30 01:59", []Shop{night("2026-11-29")}},
		{"nothing since the night", store.Round{Zone: "UTC", Night: "2026-11-30", Letter: "2026-W48"}, "2026-11-30 05:59", nil},
		{"the usual letter", store.Round{Zone: "UTC", Night: "2026-11-30", Letter: "2026-W48"}, "2026-11-30 06:00", []Shop{letter("2026-W49")}},
		{"the letter that is made", store.Round{Zone: "UTC", Night: "2026-11-30", Letter: "2026-W49"}, "2026-11-30 23:00", nil},
		{"night and letter", store.Round{Zone: "UTC", Night: "2026-11-29", Letter: "2026-W48"}, "2026-11-30 08:00", []Shop{night("2026-11-30"), letter("2026-W49")}},
		{"two nights missed", store.Round{Zone: "UTC", Night: "2026-11-30", Letter: "2026-W49"}, "2026-12-03 03:00", []Shop{night("2026-12-03")}},
		{"three weeks missed", store.Round{Zone: "UTC", Night: "2026-12-22", Letter: "2026-W48"}, "2026-12-22 12:00", []Shop{letter("2026-W52")}},
		{"its own clock, a minute early", store.Round{Zone: "America/New_York", Night: "2026-11-29", Letter: "2026-W49"}, "2026-11-30 06:59", nil},
		{"its own clock", store.Round{Zone: "America/New_York", Night: "2026-11-29", Letter: "2026-W49"}, "2026-11-30 07:00", []Shop{night("2026-11-30")}},
		{"a zone that is ahead", store.Round{Zone: "Pacific/Auckland", Night: "2026-11-30", Letter: "2026-W48"}, "2026-11-29 18:00", []Shop{letter("2026-W49")}}, // 7:00 of Monday there
		{"its own schedule", store.Round{Zone: "UTC", Schedule: "30 15 * * 5", Night: "2026-12-04", Letter: "2026-W48"}, "2026-12-04 15:30", []Shop{letter("2026-W49")}},
		{"before its own schedule", store.Round{Zone: "UTC", Schedule: "30 15 * * 5", Night: "2026-12-04", Letter: "2026-W48"}, "2026-12-04 15:29", nil},
		{"a schedule that can't be read", store.Round{Zone: "UTC", Schedule: "Mondays", Night: "2026-11-29"}, "2026-11-30 08:00", []Shop{night("2026-11-30")}},
		{"a zone that nobody knows", store.Round{Zone: "Nowhere/At_All", Night: "2026-11-29", Letter: "2026-W49"}, "2026-11-30 02:00", []Shop{night("2026-11-30")}},
		{"week 53 before week 1", store.Round{Zone: "UTC", Night: "2027-01-04", Letter: "2026-W53"}, "2027-01-04 06:00", []Shop{letter("2027-W01")}},
	} {
		c.r.Shop = "a"
		if have := due(c.r, at(c.now)); !slices.Equal(have, c.want) {
			t.Errorf("%s: want %v, have %v", c.what, c.want, have)
		}
	}
}
