package capacity

import (
	"fmt"
	"slices"
	"strings"
)

// sendOut advises to have another shop do part of a job kind: first where few
// of the crew can do it and their line grows too long by itself, then where
// the whole crew's does in spite of what has been advised so far.
func (a *adviser) sendOut() ([]Advice, error) {
	skills, err := a.Skills()
	if err != nil {
		return nil, err
	}
	var all []Advice
	for _, s := range skills {
		why := fmt.Sprintf("Only %s can do %s. ", strings.Join(s.Who, " and "), strings.Join(s.Kinds, ", "))
		some, err := a.send(s.Kinds, s.Outcome, func(p Plan) (Outcome, error) {
			var kinds []Demand
			for _, d := range p.Kinds {
				if slices.Contains(s.Kinds, d.Kind) {
					kinds = append(kinds, d)
				}
			}
			return p.part(s.Who, kinds)
		}, why, "Or have one more of the crew learn it, with the certificate that it takes, in a quiet week. ")
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	var kinds []string
	for _, d := range a.Kinds {
		kinds = append(kinds, d.Kind)
	}
	some, err := a.send(kinds, a.out, Plan.outcome, "", "")
	return append(all, some...), err
}

// send finds the least share, in tenths, of the kind among kinds that brings
// most hours, from the day that sending it out can be arranged until the
// line's peak, that makes it unlikely enough that the line passes the limit.
func (a *adviser) send(kinds []string, now Outcome, follow func(Plan) (Outcome, error), why, or string) ([]Advice, error) {
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
		if !slices.Contains(kinds, d.Kind) {
			continue
		}
		sum := 0.0
		for j := r.first; j <= r.last; j++ {
			sum += d.Arriving.Dist(j).Mean()
		}
		if sum > most {
			most, kind = sum, i
		}
	}
	for tenths := 1; tenths <= 9; tenths++ {
		share := float64(tenths) / 10
		if kind < 0 || most*share < a.WorthHours {
			continue
		}
		p := a.Plan.sent(kind, r, share)
		after, err := follow(p)
		if err != nil {
			return nil, err
		}
		chance := after.ChanceOver(a.LimitWeeks)
		if chance >= a.LimitChance {
			continue
		}
		whole, err := p.outcome()
		if err != nil {
			return nil, err
		}
		var cost *float64
		if c := most * share * a.SentCost; c > 0 {
			cost = &c
		}
		if !a.worth(now, after, cost) {
			return nil, nil
		}
		from, name := a.from(r), a.Kinds[kind].Kind
		advice := Advice{Do: Subcontract, Kind: name, From: from, Until: a.until(r), Hours: most * share, DecideBy: a.before(from, a.SentAhead), Cost: cost,
			Why: fmt.Sprintf("%sThe chance that their line passes %.2g weeks of work is %s. Sending out %d of 10 %s jobs from %s to %s, about %s, lowers it to %s. "+
				"%sIf nothing is done, that work waits while other hours may stand idle.",
				why, a.LimitWeeks, percent(without), tenths, name, dayName(from), dayName(a.until(r)), hours(most*share), percent(chance), or)}
		a.adopt(p, whole)
		return []Advice{advice}, nil
	}
	return nil, nil
}

// sent gives the plan with a share of one kind's new work sent out in a run of
// weeks.
func (p Plan) sent(kind int, r run, share float64) Plan {
	p.Kinds = slices.Clone(p.Kinds)
	p.Arriving.Values = slices.Clone(p.Arriving.Values)
	d := &p.Kinds[kind]
	d.Arriving.Values = slices.Clone(d.Arriving.Values)
	for k, v := range d.Arriving.Values {
		if j := k % d.Arriving.H; j >= r.first && j <= r.last {
			d.Arriving.Values[k] = v * (1 - share)
			p.Arriving.Values[k] = max(0, p.Arriving.Values[k]-v*share)
		}
	}
	return p
}
