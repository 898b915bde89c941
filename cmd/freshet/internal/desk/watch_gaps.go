package desk

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
	"freshet/forecast/watch"
	"freshet/forecast/workload"
	"freshet/report"
)

// findGaps looks for what the records do, before anything is called a lull or
// a rush: open days without a single drop-off that chance doesn't explain, and
// days on which a pile was entered at once. It says whether there are any.
func (w *watcher) findGaps() bool {
	s := w.shop
	perDay := map[forecast.Date]int{}
	jobs := s.book.Jobs
	i, _ := slices.BinarySearchFunc(jobs, w.monday(0), func(a workload.Job, d forecast.Date) int { return int(a.DroppedOff - d) })
	for _, j := range jobs[i:] {
		perDay[j.DroppedOff]++
	}
	size := w.series[0].tracks[0].Size()
	until := w.monday(w.n)
	silent, expected := forecast.Date(0), 0.0 // first silent day, and what it and the ones after it should have brought
	for d := w.monday(0); d <= until; d++ {
		if d < until && perDay[d] == 0 {
			if silent == 0 {
				silent, expected = d, 0
			}
			expected += w.usualDay(w.series[0], d)
			continue
		}
		if silent != 0 {
			if chance := (forecast.NegBin{Mu: expected, Size: size}).CDF(0); chance < silentChance {
				w.addGap(silent, d-1, expected, chance)
			}
		}
		silent = 0
	}
	for t := range w.n {
		w.findPile(t, perDay)
	}
	return len(w.gaps) > 0
}

// usualDay gives what day d of a watched week should bring to a series: the
// week's mean spread over its open days.
func (w *watcher) usualDay(s *series, d forecast.Date) float64 {
	open := 0.0
	for day := d.Monday(); day < d.Monday()+forecast.Week; day++ {
		open += w.shop.calendar.OpenShare(day)
	}
	if open == 0 {
		return 0
	}
	t := int(d.Monday()-w.monday(0)) / forecast.Week
	return s.mean(t) * w.shop.calendar.OpenShare(d) / open
}

func (w *watcher) addGap(from, to forecast.Date, expected, chance float64) {
	for t := range w.n {
		// A week that lacks its weekend only is whole.
		if from <= w.monday(t)+4 && to >= w.monday(t) {
			w.gap[t] = true
		}
	}
	first, last := int(from-w.monday(0))/forecast.Week, int(to-w.monday(0))/forecast.Week
	when := fmt.Sprintf("from %s to %s", report.Day(from), report.Day(to))
	if from == to {
		when = "on " + report.Day(from)
	}
	lead := fmt.Sprintf("No drop-offs are on record %s, where about %s were expected.", when, report.Whole(expected))
	text := lead + " Either the shop was closed or records are missing: import the rest, or put closed days into a time-off file. These weeks aren't judged, and this is no lull."
	w.gaps = append(w.gaps, finding{series: -1, from: first, until: last + 1,
		alert: Alert{Rule: "gap", Kind: everything, Since: from, Expected: math.Round(10*expected) / 10, Chance: round(chance), Weekly: round(chance), Lead: lead, Summary: text}})
}

// A pile is a day that holds most of a week which is far above what was
// expected.
const (
	pileShare = .6
	leastPile = 10
)

func (w *watcher) findPile(t int, perDay map[forecast.Date]int) {
	mix, sum, n := w.series[0].window(t, t+1)
	if n == 0 {
		return
	}
	chance, above := watch.Tail(mix, sum)
	if !above || chance > weekChance {
		return
	}
	for d := w.monday(t); d < w.monday(t+1); d++ {
		if pile := perDay[d]; pile >= leastPile && float64(pile) > pileShare*sum {
			w.gap[t] = true
			lead := fmt.Sprintf("%s bear the date %s, in a week where %s were expected in all. That looks like older work entered at once.",
				report.Count(float64(pile), "drop-off"), report.Day(d), report.Whole(mix.Mean()))
			text := lead + " Correct the dates and import again. The week isn't judged, and this is no rush."
			w.gaps = append(w.gaps, finding{series: -1, from: t, until: t + 1,
				alert: Alert{Rule: "gap", Kind: everything, Since: d, Observed: float64(pile), Expected: math.Round(10*mix.Mean()) / 10, Chance: round(chance), Weekly: round(chance), Lead: lead, Summary: text}})
			return
		}
	}
}
