package desk

import (
	"math"

	"freshet/forecast/watch"
)

// change is a sort of change that series are watched for: the multiples by
// which the mean may have changed, for how many weeks at most, the odds in each
// series at which it is worth an alert, and how many alerts begin a week and
// series, times h, if odds above h are told of.
type change struct {
	times   []float64
	longest int
	odds    float64
	often   float64
}

// The budget: at most one false alert a quarter, whatever the number of kinds,
// which share theirs among themselves. Most of it goes to all drop-offs above
// what was expected, which a shop runs out of hours by; bursts of most kinds
// show there as well, and a weak season has a rule of its own. What one cause
// brings twice is told once (cause), and counts once. All are measured on
// invented shops (TestWatchBudget), and so is often: theory has 1 at most;
// alerts that stand begin no others.
var (
	wholeChanges = []change{
		{times: []float64{1.25, 1.5, 2}, longest: 6, odds: 5.5, often: .4},
		{times: []float64{.8, .65, .5}, longest: 6, odds: 30, often: .3},
	}
	kindChanges = []change{
		{times: []float64{1.6, 2.5, 4}, longest: 4, odds: 14, often: .25},
		{times: []float64{.6, .3}, longest: 4, odds: 50, often: .1},
	}
)

// against is what the odds of a week by itself must be for it to belong to a
// stretch: less speaks for a return to what is usual.
const against = .7

// whole gives what is odd about all drop-offs together: weeks and runs of weeks.
func (w *watcher) whole() []finding { return w.series[0].odd }

// kinds gives the same of job kinds.
func (w *watcher) kinds() []finding {
	var out []finding
	for _, s := range w.series[1:] {
		if !w.renamed[s.kind] {
			out = append(out, s.odd...)
		}
	}
	return out
}

// weigh looks for changes in every series.
func (w *watcher) weigh() error {
	work := make([]func() error, len(w.series))
	for k, s := range w.series {
		changes, places := kindChanges, len(w.series)-1
		if k == 0 {
			changes, places = wholeChanges, 1
		}
		work[k] = func() error {
			s.odd = nil
			for _, c := range changes {
				s.odd = append(s.odd, w.changed(k, c, places)...)
			}
			return nil
		}
	}
	return together(work)
}

// changed gives, for each last week, the likeliest stretch of weeks that ends
// with it and changed so, where the odds of all such stretches together are
// worth an alert and the week itself doesn't speak against it.
func (w *watcher) changed(k int, c change, places int) []finding {
	s := w.series[k]
	all, best, alone := make([]float64, w.n), make([]float64, w.n), make([]float64, w.n)
	from := make([]int, w.n)
	for i, track := range s.tracks {
		for step, odds := range track.Changes(c.times, c.longest) {
			begin := s.starts[i] + step
			if s.newest(begin) != i {
				break
			}
			for j, v := range odds {
				if j == 0 {
					alone[begin] = v
				}
				all[begin+j] += v
				if v > best[begin+j] {
					best[begin+j], from[begin+j] = v, begin
				}
			}
		}
	}
	var out []finding
	for t := range w.n {
		if all[t] < c.odds*float64(places) || alone[t] < against {
			continue
		}
		weekly := c.often * float64(places) / all[t]
		f := finding{series: k, from: from[t], until: t + 1, above: c.times[0] > 1, alert: Alert{Rule: "kind", Kind: s.name, Since: w.monday(from[t]), Weekly: weekly}}
		d, sum, _ := s.window(f.from, f.until)
		if k == 0 {
			f.alert.Rule = "run"
			if f.until == f.from+1 {
				f.alert.Rule = "week"
			}
		}
		f.alert.Chance, _ = watch.Tail(d, sum)
		f.alert.Observed, f.alert.Expected = sum, math.Round(10*d.Mean())/10
		out = append(out, f)
	}
	return out
}
