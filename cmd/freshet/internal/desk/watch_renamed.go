package desk

import (
	"fmt"
	"math"

	"freshet/forecast"
	"freshet/forecast/watch"
	"freshet/report"
)

// Limits of what is taken for a new word for an old kind: the old one has been
// silent for longer than chance explains, the new one was never seen before,
// began within three weeks of that and has come about as often as the old one
// should have.
const (
	renamedSilent = .01
	renamedDays   = 3 * forecast.Week
	renamedLeast  = 3
	renamedOff    = .01 // chance of a count as far from what the old kind would have had
)

// renamings finds kinds that stopped as others began. What they did is a matter
// of the records and no lull of the one, nor rush of the other.
func (w *watcher) renamings() []finding {
	s := w.shop
	first, last := make([]forecast.Date, len(s.book.Kinds)), make([]forecast.Date, len(s.book.Kinds))
	count := make([]float64, len(s.book.Kinds))
	end := w.monday(w.n)
	for _, j := range s.book.Jobs {
		if j.DroppedOff >= end {
			break
		}
		if first[j.Kind] == 0 {
			first[j.Kind] = j.DroppedOff
		}
		last[j.Kind] = j.DroppedOff
		count[j.Kind]++
	}
	w.renamed = map[int]bool{}
	var out []finding
	for _, old := range w.series[1:] {
		from := int(last[old.kind]-w.monday(0))/forecast.Week + 1 // first week without
		if last[old.kind] < w.monday(0) || from >= w.n {
			continue
		}
		missing, _, _ := old.window(from, w.n)
		silent := missing.CDF(0)
		if silent > renamedSilent {
			continue
		}
		for _, k := range w.rare {
			apart := first[k] - last[old.kind]
			if first[k] < w.monday(0) || apart > renamedDays || apart < -renamedDays || count[k] < renamedLeast || w.renamed[k] {
				continue
			}
			since := int(first[k]-w.monday(0)) / forecast.Week
			usual, _, _ := old.window(since, w.n)
			if chance, _ := watch.Tail(usual, count[k]); chance < renamedOff {
				continue
			}
			w.renamed[old.kind], w.renamed[k] = true, true
			name, word := s.book.Kinds[old.kind], s.book.Kinds[k]
			lead := fmt.Sprintf("No job of %s has come since %s, and %s of %s since %s, a kind that was never seen before: that looks like a new word for the same work.",
				name, report.Day(last[old.kind]), report.Count(count[k], "job"), word, report.Day(first[k]))
			out = append(out, finding{series: -1, from: since, until: w.n, alert: Alert{Rule: "gap", Kind: name, Since: last[old.kind], Observed: 0,
				Expected: math.Round(10*missing.Mean()) / 10, Chance: round(silent), Weekly: round(silent), Lead: lead,
				Summary: lead + fmt.Sprintf(" If it is, count them as one: freshet kinds merge %q --into %q, or the page Kinds. If it isn't, neither is told of as a lull or a rush meanwhile.", word, name)}})
			break
		}
	}
	return out
}
