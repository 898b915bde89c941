package capacity

import (
	"cmp"
	"slices"
)

// A measure is tried to see whether a line is still too likely to pass the
// limit, or now is. Most paths needn't be worked off for that.

// over gives the paths on which a line passes the limit, those first on which
// it does by most. Less work and more hands leave no others: what can't come
// to pass without them isn't tried with them.
func (a *adviser) over(l Line) []int {
	return l.nearest(a.LimitWeeks, func(beyond float64) bool { return beyond > tolerance })
}

// nearly gives the paths on which a line doesn't pass the limit and might with
// so many hours less in all, those first that come nearest to it. An hour less
// makes the line longer by an hour, or what can be done of it less.
func (a *adviser) nearly(l Line, hours float64) []int {
	return l.nearest(a.LimitWeeks, func(beyond float64) bool { return beyond <= tolerance && beyond > -hours })
}

// nearest gives the paths whose line lies beyond its limit by some hours, below
// it if they are negative, the greatest first.
func (l Line) nearest(weeks float64, in func(beyond float64) bool) []int {
	var paths []int
	by := make([]float64, l.Backlog.N())
	limit := l.weekly.limits(l.Backlog.H, weeks)
	for i := range by {
		for j, b := range l.Backlog.Path(i) {
			if beyond := b - limit[j]; j == 0 || beyond > by[i] {
				by[i] = beyond
			}
		}
		if in(by[i]) {
			paths = append(paths, i)
		}
	}
	slices.SortStableFunc(paths, func(i, j int) int { return cmp.Compare(by[j], by[i]) })
	return paths
}

// tooLong tells whether under another plan the chance that a line passes the
// limit is what the owner doesn't put up with, if it passes on so many paths in
// any case, and perhaps on some others. Those are worked off in their order,
// each until the line passes, and no more of them than it takes to tell.
func (a *adviser) tooLong(p Plan, l Line, sure int, perhaps []int) bool {
	floor := p.floor(len(a.out.Weeks) + workOff)
	limit := newClock(floor.hoursOf(floor.weeks(), l.class), workOff).limits(len(a.out.Weeks), a.LimitWeeks)
	jobs, n := p.jobs(), float64(a.out.Backlog.N())
	own := runners.Get().(*runner)
	defer runners.Put(own)
	for k, i := range perhaps {
		if float64(sure)/n >= a.LimitChance || float64(sure+len(perhaps)-k)/n < a.LimitChance {
			break
		}
		own.run.begin(floor, jobs.tasks(i, &own.room))
		if own.run.passes(l.class, limit) {
			sure++
		}
	}
	return float64(sure)/n >= a.LimitChance
}
