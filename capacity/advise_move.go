package capacity

import (
	"fmt"
	"slices"
)

// moveWork advises to put off open work into later weeks that have room for it
// at PlanAt, if that lowers the greatest backlog and makes no later one as
// high by WorthHours or more. None of it is safety-critical (OpenJob.CanMove) or
// put off already. It is to be decided today, as open work that isn't put off
// gets worked on.
func (a *adviser) moveWork() ([]Advice, error) {
	week, before := a.peak(a.out.Backlog)
	if a.weeks.Dists[week].Quantile(a.PlanAt) <= a.CarryWeeks {
		return nil, nil
	}
	open := slices.Clone(a.Open)
	var movable []int
	for i, j := range open {
		if j.CanMove(a.Kinds[j.Kind].Kind) && j.NotBefore <= a.From {
			movable = append(movable, i)
		}
	}
	// Those who came last are asked first.
	slices.SortStableFunc(movable, func(i, j int) int { return int(open[j].DroppedOff - open[i].DroppedOff) })
	moved, r := 0.0, run{-1, -1}
	for j := week + 1; j < len(a.out.Weeks); j++ {
		room := a.out.Weeks[j].Available - a.out.Work.Dist(j).Quantile(a.PlanAt)
		for len(movable) > 0 {
			h := a.Habits.opening(open[movable[0]], a.From).expected()
			if h > room {
				break
			}
			open[movable[0]].NotBefore = a.out.Weeks[j].From
			movable = movable[1:]
			room -= h
			moved += h
			if r.first < 0 {
				r.first = j
			}
			r.last = j
		}
	}
	if moved <= 0 || moved < a.WorthHours {
		return nil, nil
	}
	plan, with, err := a.with(func(p *Plan) { p.Open, p.drawn = open, nil })
	if err != nil {
		return nil, err
	}
	// The peak of what follows is over all weeks, those moved into included.
	if _, after := a.peak(with.Backlog); after <= before-a.WorthHours {
		from := a.from(r)
		peak := dayName(a.out.Weeks[week].Monday)
		a.adopt(plan, with)
		return []Advice{{Do: MoveWork, From: from, Until: a.until(r), Hours: moved, DecideBy: a.From,
			Why: fmt.Sprintf("The backlog is greatest in the week of %s, and %s of open work that can wait fit into the crew's free hours from %s. "+
				"Ask those customers to come back then: the greatest backlog falls from %s to %s or less, %s. "+
				"If nothing is done, urgent work waits behind work that could have waited.",
				peak, hours(moved), dayName(from), hours(before), hours(after), a.odds())}}, nil
	}
	return nil, nil
}

// lulls advises to fill weeks in which the crew's hours aren't used even at
// PlanAt.
func (a *adviser) lulls() ([]Advice, error) {
	work := a.out.Work.Forecast().Quantiles(a.PlanAt)
	var all []Advice
	for _, r := range a.runs(func(j int) bool { return work[j] < a.UsedShare*a.out.Weeks[j].Available }) {
		free, have := 0.0, 0.0
		for j := r.first; j <= r.last; j++ {
			have += a.out.Weeks[j].Available
			free += a.out.Weeks[j].Available - work[j]
		}
		if free < a.WorthHours {
			continue
		}
		from := a.from(r)
		all = append(all, Advice{Do: FillLull, From: from, Until: a.until(r), Hours: free, DecideBy: a.before(from, a.LullAhead),
			Why: fmt.Sprintf("For %s from %s the work uses %s of the crew's hours or less, %s, and %s stand free. "+
				"Call customers whose work can be done then, or plan training and time off. If nothing is done, those hours are paid and bring no jobs.",
				plural(r.len(), "week"), dayName(from), percent(1-free/have), a.odds(), hours(free))})
	}
	return all, nil
}
