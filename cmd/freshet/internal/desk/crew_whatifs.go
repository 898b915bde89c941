package desk

import (
	"context"

	"freshet/capacity"
	"freshet/forecast"
)

// WhatIfs answers what changes would do to the crew's weeks: it holds the plan
// as it stands. Making one takes a fit; an answer then takes some tenths of a
// second, since it has no advice, and a rough one some hundredths. It may be
// shared.
type WhatIfs struct {
	AsOf forecast.Date

	whole, rough tryout
	weeks        int
}

// A tryout is a plan that changes are tried on, and its weeks without any.
type tryout struct {
	plan  capacity.Plan
	draws int
	now   []CrewWeek
}

// roughDraws is how many futures a rough answer is from: chances of 20 to 80 %
// are within 10 points of crewDraws' in most weeks.
const roughDraws = 100

// WhatIfs makes what changes are tried out on.
func (d *Desk) WhatIfs(ctx context.Context, ask Ask) (*WhatIfs, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return nil, err
	}
	f, err := s.futures()
	if err != nil {
		return nil, err
	}
	plan, err := s.plan(ctx, d.Store, f)
	if err != nil {
		return nil, err
	}
	plan.Near = ask.Weeks
	w := &WhatIfs{AsOf: ask.AsOf, weeks: ask.Weeks, whole: tryout{plan: plan, draws: crewDraws}, rough: tryout{plan: plan.Thinned(roughDraws), draws: roughDraws}}
	for _, t := range []*tryout{&w.whole, &w.rough} {
		if t.now, err = t.try(capacity.WhatIf{}, w.weeks); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// Try gives the weeks asked for under a change, those that Crew gives for it,
// and as things stand.
func (w *WhatIfs) Try(change capacity.WhatIf) (weeks, now []CrewWeek, err error) {
	weeks, err = w.whole.try(change, w.weeks)
	return weeks, w.whole.now, err
}

// TryRoughly is Try from a tenth of the futures, and as much faster: for while
// somebody still moves a slider.
func (w *WhatIfs) TryRoughly(change capacity.WhatIf) (weeks, now []CrewWeek, err error) {
	weeks, err = w.rough.try(change, w.weeks)
	return weeks, w.rough.now, err
}

func (t *tryout) try(change capacity.WhatIf, weeks int) ([]CrewWeek, error) {
	plan, err := change.Apply(t.plan)
	if err != nil {
		return nil, err
	}
	o, err := plan.Thinned(t.draws).Outcome()
	if err != nil {
		return nil, err
	}
	return crewWeeks(plan, o, weeks), nil
}
