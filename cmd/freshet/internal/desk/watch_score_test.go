package desk

import (
	"testing"

	"freshet/forecast"
	"freshet/ingest/demo"
)

// An alert is the same one while its beginning moves a little, and of another
// kind or rule it isn't.
func TestAmong(t *testing.T) {
	day := forecast.NewDate(2026, 3, 2)
	a := Alert{Rule: "run", Kind: "all", Since: day}
	for _, c := range []struct {
		o    Alert
		same bool
	}{{a, true}, {Alert{Rule: "run", Kind: "all", Since: day + 21}, true}, {Alert{Rule: "run", Kind: "all", Since: day - 22}, false},
		{Alert{Rule: "week", Kind: "all", Since: day}, false}, {Alert{Rule: "run", Kind: "cooling", Since: day}, false}} {
		if among(a, []Alert{c.o}) != c.same {
			t.Errorf("%+v: want %v", c.o, c.same)
		}
	}
}

// The invented shop's odd year is seen by the looks back, each by what was
// known then; and most of what is alarmed at is borne out.
func TestScoreAlerts(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	asOf := forecast.NewDate(2026, 11, 23)
	d := demoDesk(t, demo.SixYears(2, asOf))
	s, err := d.scoreAlerts(t.Context(), Ask{AsOf: asOf, Weeks: 13, Seed: Seed(asOf)})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", s)
	if s.Weeks != looks*4 || s.Alerts == 0 || s.FalsePerYear > 6 || s.FalsePerYear*2 > float64(s.Alerts) {
		t.Errorf("want 104 weeks, some alerts and few that weren't borne out, have %+v", s)
	}
}
