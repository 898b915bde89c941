package desk

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/forecast/watch"
	"freshet/report"
)

// say tells a finding in plain words: what, since when, how seldom, what drives
// it; and after that what it means and what to do.
func (w *watcher) say(f finding) (lead, all string) {
	s, a := w.series[f.series], f.alert
	weeks := f.until - f.from
	var b strings.Builder
	what := "drop-offs"
	if s.kind >= 0 {
		what = "drop-offs of " + s.name
	}
	when := f.when()
	fmt.Fprintf(&b, "%s brought %s %s where about %s were expected: by chance %s.", upper(when), report.Whole(a.Observed), what, few(a.Expected), seldom(a.Weekly))
	if s.kind < 0 {
		b.WriteString(w.drivers(f))
		b.WriteString(w.qualities(f))
	}
	lead = b.String()
	if s.kind < 0 {
		b.WriteString(w.secondOpinion(f))
	}
	excess := (a.Observed - a.Expected) / float64(weeks)
	if hours := excess * w.hours(s); math.Abs(hours) >= 5 {
		fmt.Fprintf(&b, " If it goes on, the work is about %s hours a week %s than expected.", report.Whole(math.Abs(hours)), moreOrLess(f.above))
	}
	switch {
	case f.until < w.n:
		b.WriteString(" The weeks since were not odd again: it may be over.")
	case weeks == 1:
		b.WriteString(" One week is no trend: the next will tell.")
	case f.above && s.kind >= 0:
		b.WriteString(" Look for a common cause, and at the parts that such jobs need.")
	case f.above:
		b.WriteString(" Whether it is a rush that ends, work that comes later than usual, or a new level, the next weeks will tell. Look at the crew's plan for the coming weeks.")
	default:
		b.WriteString(" Ask customers whose work can wait to come in earlier.")
	}
	return lead, b.String()
}

// when names the weeks of a finding, within a sentence.
func (f finding) when() string {
	if weeks := f.until - f.from; weeks > 1 {
		return fmt.Sprintf("the %d weeks from %s", weeks, report.Day(f.alert.Since))
	}
	return "the week of " + report.Day(f.alert.Since)
}

// sayWhole tells what is odd about the whole, beside the kind that makes up most
// of it.
func (w *watcher) sayWhole(f finding) string {
	return fmt.Sprintf(" All drop-offs together were odd too: %s brought %s where about %s were expected, by chance %s.",
		f.when(), report.Whole(f.alert.Observed), few(f.alert.Expected), seldom(f.alert.Weekly)) + w.drivers(f) + w.qualities(f)
}

// secondOpinion judges a busy week by the same weeks of past years alone, where
// there are enough of them.
func (w *watcher) secondOpinion(f finding) string {
	if f.alert.Rule != "week" || !f.above {
		return ""
	}
	switch b, err := watch.Flexible().Bound(w.shop.known.Total, w.first+f.from); {
	case err != nil:
		return ""
	case b.Alarm:
		return fmt.Sprintf(" By the same weeks of past years alone, up to %s would have been usual.", report.Whole(b.Upper))
	default:
		return fmt.Sprintf(" By the same weeks of past years alone, up to %s are usual: the level of late makes it odd.", report.Whole(b.Upper))
	}
}

// few writes an expected number, to a tenth where it is small.
func few(v float64) string {
	if v < 9.95 {
		return fmt.Sprintf("%.1f", v)
	}
	return report.Whole(v)
}

func moreOrLess(above bool) string {
	if above {
		return "more"
	}
	return "less"
}

// seldom says how often something comes that has this chance in any week.
func seldom(chance float64) string {
	weeks := 1 / max(chance, 1e-9)
	switch years := weeks / forecast.WeeksAYear; {
	case weeks < 8:
		return fmt.Sprintf("about once in %.0f weeks", max(2, weeks))
	case years < 1.5:
		return fmt.Sprintf("about once in %.0f months", years*12)
	case years < 20:
		return fmt.Sprintf("about once in %.0f years", years)
	}
	return "less than once in 20 years"
}

// mostDrivers is how many kinds are named.
const mostDrivers = 3

// drivers names the kinds that make up most of what is odd about the whole.
func (w *watcher) drivers(f finding) string {
	type part struct {
		name   string
		excess float64
	}
	var parts []part
	whole := f.alert.Observed - f.alert.Expected
	for _, s := range w.series[1:] {
		if d, sum, n := s.window(f.from, f.until); n > 0 && !w.renamed[s.kind] {
			if excess := sum - d.Mean(); excess/whole > .2 {
				parts = append(parts, part{s.name, excess})
			}
		}
	}
	if len(parts) == 0 {
		return " No one kind stands out."
	}
	slices.SortStableFunc(parts, func(a, b part) int { return cmp.Compare(math.Abs(b.excess), math.Abs(a.excess)) })
	var names []string
	share := 0.0
	for _, p := range parts[:min(mostDrivers, len(parts))] {
		names = append(names, fmt.Sprintf("%s (%+.0f)", p.name, p.excess))
		share += p.excess / whole
	}
	if share <= .5 {
		return fmt.Sprintf(" Most of all it is %s of %+.0f, but other kinds have their share.", strings.Join(names, ", "), whole)
	}
	return " It is mostly " + strings.Join(names, ", ") + "."
}

// hours gives the mean hours of a job of a series, 0 if not known.
func (w *watcher) hours(s *series) float64 {
	if w.usualHours == nil {
		w.usualHours = w.shop.meanHours()
	}
	if s.kind < 0 {
		return w.usualHours[""]
	}
	return w.usualHours[s.name]
}
