package capacity

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
)

// sendOut advises to have another shop do part of a job kind: first where few
// of the crew can do it and their line grows too long by itself, then where
// the whole crew's does in spite of what has been advised so far.
func (a *adviser) sendOut() ([]Advice, error) {
	var all []Advice
	for k := range a.out.Skills {
		s := a.out.Skills[k]
		why := fmt.Sprintf("Only %s can do %s. ", strings.Join(s.Who, " and "), strings.Join(s.Kinds, ", "))
		some, err := a.send(s.Kinds, func(o Outcome) Line { return o.Skills[k].Line }, why, "Or have one more of the crew learn it, with the certificate that it takes, in a quiet week. ")
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	some, err := a.send(a.names(), func(o Outcome) Line { return o.Line }, "", "")
	return append(all, some...), err
}

// send finds the least share, in tenths, of the kind among kinds that brings
// most hours, from the day that sending it out can be arranged until the
// line's peak, that makes it unlikely enough that the line passes the limit.
func (a *adviser) send(kinds []string, of func(Outcome) Line, why, or string) ([]Advice, error) {
	now := of(a.out)
	without := now.ChanceOver(a.LimitWeeks)
	if len(kinds) == 0 || without < a.LimitChance || without == 0 {
		return nil, nil
	}
	last, _ := a.peak(now.Backlog)
	if last < a.SentAhead {
		return nil, nil
	}
	r := run{a.SentAhead, last}
	most, kind := 0.0, -1 // mean hours within the run
	for i, d := range a.Kinds {
		if d.Kind == "" || !slices.Contains(kinds, d.Kind) {
			continue // what it is isn't said
		}
		sum := 0.0
		for j := r.first; j <= r.last; j++ {
			sum += d.Hours.Dist(j).Mean()
		}
		if sum > most {
			most, kind = sum, i
		}
	}
	if kind < 0 {
		return nil, nil
	}
	// The more is sent out the smaller the chance, so that bisection finds the
	// tenths.
	least := max(1, int(math.Ceil(10*a.WorthHours/most-1e-9)))
	const mostTenths = 9
	if least > mostTenths {
		return nil, nil
	}
	over := a.over(now)
	tenths := least + sort.Search(mostTenths+1-least, func(i int) bool {
		return !a.tooLong(a.Plan.sent(kind, r, float64(least+i)/10), now, 0, over)
	})
	if tenths > mostTenths {
		return nil, nil
	}
	plan := a.Plan.sent(kind, r, float64(tenths)/10)
	after, err := plan.outcome(lines)
	if err != nil {
		return nil, err
	}
	chance := of(after).ChanceOver(a.LimitWeeks)
	share := float64(tenths) / 10
	var cost *float64
	if c := most * share * a.SentCost; c > 0 {
		cost = &c
	}
	if pays, err := a.worth(a.Plan, plan, cost); err != nil || !pays {
		return nil, err
	}
	whose := "their"
	if why == "" {
		whose = "the"
	}
	from, name := a.from(r), a.Kinds[kind].Kind
	advice := Advice{Do: Subcontract, Kind: name, From: from, Until: a.until(r), Hours: most * share, DecideBy: a.before(from, a.SentAhead), Cost: cost,
		Why: fmt.Sprintf("%sThe chance that %s line passes %.2g weeks of work is %s. Sending out %d of 10 %s jobs from %s to %s, about %s, lowers it to %s. "+
			"%sIf nothing is done, that work waits while other hours may stand idle.",
			why, whose, a.LimitWeeks, percent(without), tenths, name, dayName(from), dayName(a.until(r)), hours(most*share), percent(chance), or)}
	a.adopt(plan, after)
	return []Advice{advice}, nil
}

// sent gives the plan with a share of one kind's new work sent out in a run of
// weeks.
func (p Plan) sent(kind int, r run, share float64) Plan {
	times := make([]float64, p.Kinds[kind].Hours.H)
	for j := range times {
		if times[j] = 1; j >= r.first && j <= r.last {
			times[j] = 1 - share
		}
	}
	p.Kinds, p.drawn = slices.Clone(p.Kinds), nil
	p.Kinds[kind] = p.Kinds[kind].scaled(times)
	return p
}
