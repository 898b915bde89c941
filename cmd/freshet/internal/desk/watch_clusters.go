package desk

import (
	"fmt"

	"freshet/forecast"
	"freshet/forecast/watch"
	"freshet/report"
)

const (
	clusterDays  = 10
	leastCluster = 3
	clusterYears = 3 // of records that tell how often a rare kind comes
)

// clusters finds rare kinds of which too many came within ten days.
func (w *watcher) clusters() []finding {
	s := w.shop
	until := w.monday(w.n)
	days := map[int][]forecast.Date{}
	rare := map[int]bool{}
	for _, k := range w.rare {
		rare[k] = true
	}
	from := max(until-clusterYears*365, s.known.Total.Start)
	for _, j := range s.book.Jobs {
		if rare[j.Kind] && j.DroppedOff >= from && j.DroppedOff < until {
			days[j.Kind] = append(days[j.Kind], j.DroppedOff)
		}
	}
	var out []finding
	for _, k := range w.rare {
		if w.renamed[k] {
			continue
		}
		if f, ok := w.cluster(s.book.Kinds[k], days[k], from, until); ok {
			out = append(out, f)
		}
	}
	return out
}

// cluster looks at the last weeks' days of one kind for the fullest window, and
// judges it by the rate before.
func (w *watcher) cluster(kind string, days []forecast.Date, from, until forecast.Date) (finding, bool) {
	recent := until - stands*forecast.Week
	most, first, last := 0, 0, 0
	for i, d := range days {
		j := i
		for j < len(days) && days[j] < d+clusterDays {
			j++
		}
		if j-i > most && days[j-1] >= recent {
			most, first, last = j-i, i, j-1
		}
	}
	if most < leastCluster {
		return finding{}, false
	}
	// A kind that has just appeared is taken to have come once.
	span := float64(days[first] - from)
	rate := float64(max(1, first)) / max(span, 365)
	chance := watch.Scan{K: most, Window: clusterDays, Span: 365}.Naus(rate)
	if chance*float64(len(w.rare)) > clusterChance {
		return finding{}, false
	}
	weekly := chance * float64(len(w.rare)) / forecast.WeeksAYear
	lead := fmt.Sprintf("%s of %s came within %s, from %s; usually about %s come in a year. By chance some kind does so %s.",
		report.Count(float64(most), "job"), kind, report.Count(float64(days[last]-days[first]+1), "day"), report.Day(days[first]), few(rate*365), seldom(weekly))
	week := func(d forecast.Date) int { return int(d-w.monday(0)) / forecast.Week }
	return finding{series: -1, from: week(days[first]), until: week(days[last]) + 1, above: true,
		alert: Alert{Rule: "cluster", Kind: kind, Since: days[first], Observed: float64(most), Expected: round(rate * clusterDays), Chance: round(chance), Weekly: round(weekly),
			Lead: lead, Summary: lead + " Ask whether they have a part, a maker or a trip in common." + w.stock(most, func(int) bool { return false }, kind)}}, true
}
