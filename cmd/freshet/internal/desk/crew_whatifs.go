package desk

import (
	"context"

	"freshet/capacity"
	"freshet/forecast"
)

// WhatIfs answers what changes would do to the crew's weeks: it holds the plan
// as it stands. Making one takes a fit; an answer then takes some tenths of a
// second, since it has no advice. It may be shared.
type WhatIfs struct {
	Now []CrewWeek // the weeks asked for as things stand, as Crew gives them

	AsOf forecast.Date

	plan  capacity.Plan
	weeks int
}

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
	w := &WhatIfs{AsOf: ask.AsOf, plan: plan, weeks: ask.Weeks}
	w.Now, err = w.Try(capacity.WhatIf{})
	return w, err
}

// Try gives the same weeks under a change: those that Crew gives for it.
func (w *WhatIfs) Try(change capacity.WhatIf) ([]CrewWeek, error) {
	plan, err := change.Apply(w.plan)
	if err != nil {
		return nil, err
	}
	o, err := plan.Thinned(crewDraws).Outcome()
	if err != nil {
		return nil, err
	}
	return crewWeeks(plan, o, w.weeks), nil
}
