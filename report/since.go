package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"freshet/forecast"
)

// Since says what is different from an earlier report: how its outlook for the
// last complete week turned out, if it had one, and which decisions are new or
// gone. Those whose last day is over are not told as gone.
func (r Report) Since(before Report) []string {
	var out []string
	monday := r.AsOf.Monday() - forecast.Week
	if came, expected := r.cameIn(monday), before.weekOf(monday); came != nil && expected != nil {
		how := "inside the range"
		switch { // by the range as it is written
		case *came > math.Round(expected.P90):
			how = "more than the range"
		case *came < math.Round(expected.P10):
			how = "fewer than the range"
		}
		out = append(out, fmt.Sprintf("Last week brought %s. The report of %s expected about %s (8 times out of 10, %s): %s.",
			Count(*came, "drop-off"), Day(before.AsOf), Whole(expected.Mean), Range(*expected), how))
	}
	if fresh := without(r.Decisions(), before.Decisions()); len(fresh) > 0 {
		out = append(out, fmt.Sprintf("New since %s: %s.", Day(before.AsOf), strings.Join(fresh, "; ")))
	}
	open := slices.DeleteFunc(before.Decisions(), func(a Advice) bool { return a.Until < r.AsOf })
	if gone := without(open, r.Decisions()); len(gone) > 0 {
		out = append(out, fmt.Sprintf("No longer advised: %s.", strings.Join(gone, "; ")))
	}
	return out
}

// cameIn gives the drop-offs of the week that begins on a Monday, nil where
// they aren't known.
func (r Report) cameIn(monday forecast.Date) *float64 {
	for _, p := range r.Season {
		if p.Monday == monday {
			return p.Actual
		}
	}
	return nil
}

// weekOf gives what was expected of the whole week that begins on a Monday.
func (r Report) weekOf(monday forecast.Date) *forecast.Spread {
	if len(r.Weeks) == 0 {
		return nil
	}
	if r.ThisWeek.Monday == monday {
		return &r.ThisWeek.DropOffs
	}
	for i := range r.Weeks {
		if w := &r.Weeks[i]; w.Monday == monday && !w.Rest {
			return &w.DropOffs
		}
	}
	return nil
}

// without gives the titles of advice that the others hold nothing like: of the
// same sort, at about the same time.
func without(all, others []Advice) []string {
	const near = 2 * forecast.Week
	var out []string
next:
	for _, a := range all {
		for _, o := range others {
			if o.Do == a.Do && o.Kind == a.Kind && o.From-a.From <= near && a.From-o.From <= near {
				continue next
			}
		}
		out = append(out, lower(Title(a)))
	}
	return out
}
