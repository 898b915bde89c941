package desk

import (
	"context"

	"freshet/capacity"
)

// Spare answers which weeks can spare a technician.
func (d *Desk) Spare(ctx context.Context, ask Ask) ([]capacity.Spared, error) {
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
	plan = plan.Thinned(crewDraws)
	o, err := plan.Outcome()
	if err != nil {
		return nil, err
	}
	return capacity.Spare(plan, o), nil
}
