package desk

import (
	"context"
	"errors"

	"freshet/forecast"
	"freshet/forecast/workload"
)

// ScoreAlerts is how the watch would have done on the shop's last two years,
// looked at every fourth Monday by what was known then. An alert counts once,
// however long it stands. It counts as false if four weeks later it stands no
// more: the weeks that followed didn't bear it out. What came and went between
// two looks isn't seen.
type ScoreAlerts struct {
	Weeks        int     `json:"weeks"` // that were watched
	Alerts       int     `json:"alerts"`
	FalsePerYear float64 `json:"false_per_year"`
}

const (
	looks    = 26 // of the last two years
	lookStep = 4 * forecast.Week
	sameFrom = 3 * forecast.Week // days by which an alert's beginning may move
)

// scoreAlerts looks back; it is nil where there is nothing to look at.
func (d *Desk) scoreAlerts(ctx context.Context, ask Ask) (*ScoreAlerts, error) {
	var before, fresh []Alert // at the look before: all, and those that were new
	out := &ScoreAlerts{}
	unborne := 0
	for i := looks; i >= 0; i-- {
		day := ask.AsOf.Monday() - forecast.Date(i*lookStep)
		w, err := d.Watch(ctx, Ask{AsOf: day, Weeks: ask.Weeks, Seed: Seed(day)})
		if errors.Is(err, workload.ErrNoRecords) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if len(w.Weeks) > 0 && i < looks {
			out.Weeks += lookStep / forecast.Week
		}
		for _, a := range fresh {
			if !among(a, w.Alerts) {
				unborne++
			}
		}
		fresh = nil
		for _, a := range w.Alerts {
			if !among(a, before) {
				fresh = append(fresh, a)
			}
		}
		out.Alerts += len(fresh)
		before = w.Alerts
	}
	if out.Weeks == 0 {
		return nil, nil
	}
	out.FalsePerYear = float64(unborne) / (float64(out.Weeks) / forecast.WeeksAYear)
	return out, nil
}

// among tells whether an alert is one of others, its beginning moved a little
// at most.
func among(a Alert, others []Alert) bool {
	for _, o := range others {
		if o.Kind == a.Kind && o.Rule == a.Rule && o.Since-a.Since <= sameFrom && a.Since-o.Since <= sameFrom {
			return true
		}
	}
	return false
}
