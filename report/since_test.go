package report_test

import (
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
)

// What changed is set against the report of the week before: its outlook, and
// which decisions are new or gone.
func TestSince(t *testing.T) {
	f := facts()
	last := 0
	for i, p := range f.Season {
		if p.Monday == f.AsOf-forecast.Week {
			last = i
		}
	}
	came := 30.0
	f.Season[last].Actual = &came
	now := report.Build(f)
	g := facts()
	g.AsOf -= forecast.Week
	g.ThisWeek.Monday -= forecast.Week
	g.Advice = []report.Advice{{Do: capacity.MoveWork, From: g.AsOf + 14, Until: g.AsOf + 20, DecideBy: g.AsOf + 7, Hours: 12}}
	before := report.Build(g)
	want := "Last week brought 30 drop-offs. The report of February 23 expected about 18 (8 times out of 10, 11 to 27): more than the range.\n" +
		"New since February 23: plan 60 hours of overtime from April 6.\n" +
		"No longer advised: move 12 hours of work that can wait to March 9."
	if have := strings.Join(now.Since(before), "\n"); have != want {
		t.Errorf("want\n%s\nhave\n%s", want, have)
	}
	g.Advice[0].Until = f.AsOf - 1
	if have := now.Since(report.Build(g)); len(have) != 2 {
		t.Errorf("what is over isn't advised against, have %q", have)
	}
	if have := now.Since(now); len(have) != 0 {
		t.Errorf("want nothing new against itself, have %q", have)
	}
	if have := now.Since(report.Build(report.Facts{})); len(have) != 1 || !strings.HasPrefix(have[0], "New since") {
		t.Errorf("want no outlook from an empty report, have %q", have)
	}
}
