package web

import (
	"freshet/report/html"
	"testing"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
)

func TestSliderSays(t *testing.T) {
	for n, want := range map[int]string{0: "no change", 1: "1 day later", -1: "1 day earlier", 21: "21 days later"} {
		if have := (slider{Value: n, One: "day", Many: "days", Up: "later", Down: "earlier"}).Says(); have != want {
			t.Errorf("want %q, have %q", want, have)
		}
	}
}

// A what-if comes down to two numbers, beside those without it.
func TestInShort(t *testing.T) {
	week := func(chance, days float64) desk.CrewWeek {
		return desk.CrewWeek{AvailableHours: 40, ChanceShort: chance, TurnaroundDays: forecast.Spread{P50: days}}
	}
	closed := desk.CrewWeek{ChanceShort: 1, TurnaroundDays: forecast.Unknown()}
	unknown := desk.CrewWeek{ChanceShort: .2, TurnaroundDays: forecast.Unknown()}
	for _, x := range []struct {
		scenario   string
		weeks, now []desk.CrewWeek
		want       string
	}{
		{"", []desk.CrewWeek{week(.6, 12), week(.5, 3)}, nil, "As things stand 1 of the next 2 weeks is more likely short of hours than not. In the slowest week half of the jobs are ready within 12 days of drop-off."},
		{"a change", []desk.CrewWeek{week(.2, 1), week(.1, .2)}, []desk.CrewWeek{week(.6, 12), week(.7, 3)},
			"What if: a change. Then none of the next 2 weeks is more likely short of hours than not, instead of 2. In the slowest week half of the jobs are ready within 1 day of drop-off, instead of 12."},
		{"a change", []desk.CrewWeek{week(.6, 12), week(.8, 3)}, []desk.CrewWeek{week(.6, 12), week(.7, 3)},
			"What if: a change. Then 2 of the next 2 weeks are more likely short of hours than not, as now. In the slowest week half of the jobs are ready within 12 days of drop-off, as now."},
		{"", []desk.CrewWeek{unknown, closed}, nil, "As things stand none of the next 2 weeks is more likely short of hours than not."},
	} {
		if have := inShort(x.scenario, x.weeks, x.now); have != x.want {
			t.Errorf("want\n%s\nhave\n%s", x.want, have)
		}
	}
	if have := crewCells(closed); have[0] != "closed" || have[2] != "–" {
		t.Errorf("want a closed week, not one that is short of hours, have %q", have)
	}
}

func TestUnbroken(t *testing.T) {
	if have := html.Unbroken("22 % on May 3") + ofDay("Tuesday, May 3, 2027"); have != "22\u00a0% on May 3Tuesday, May\u00a03, 2027" {
		t.Errorf("have %q", have)
	}
}
