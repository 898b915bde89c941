package desk

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"

	"gonum.org/v1/gonum/stat"
)

// Whom to call for a lull: at most so many, away for a year or more and seen
// within three.
const (
	mostCalls = 12
	awayDays  = 365
	goneDays  = 3 * 365
)

// calls lists whom to call for a lull: work that was declined or put off first,
// the latest before the rest, then open work that can wait, then units that
// have not been in for a year, by numbers alone.
func (s *shop) calls(ctx context.Context, db *store.Store) ([]string, error) {
	var out []string
	open, err := db.Open(ctx, s.ask.AsOf-forgotten, s.ask.AsOf)
	if err != nil {
		return nil, err
	}
	for _, j := range slices.Backward(open) {
		if declined(j.Status) && len(out) < mostCalls/3 {
			out = append(out, fmt.Sprintf("order %s: %s, declined or put off since %s", j.RO, j.Kind, report.LongDay(j.DroppedOff)))
		}
	}
	for _, j := range open {
		if declined(j.Status) {
			continue
		}
		if c := (capacity.OpenJob{Deferrable: j.Deferrable, Emergency: j.Emergency, Waiting: waits(j.Status)}); c.CanMove(j.Kind) && len(out) < 2*mostCalls/3 {
			if line := fmt.Sprintf("order %s: %s that can wait", j.RO, j.Kind); !slices.Contains(out, line) { // one call for all of an order's lines
				out = append(out, line)
			}
		}
	}
	away, err := db.NotSeen(ctx, s.ask.AsOf-goneDays, s.ask.AsOf-awayDays, s.ask.AsOf, mostCalls-len(out))
	for _, v := range away {
		out = append(out, fmt.Sprintf("unit %s (order %s): not in since %s", v.Unit, v.RO, report.LongDay(v.Day)))
	}
	return out, err
}

// How many emergencies of the last year it takes to say what to hold back.
const (
	leastEmergencies = 5
	mostEmergencies  = 10000 // more are no shop's
)

// holdBack gives the hours a week that emergencies of the last year took in
// all but few weeks, by capacity.Emergencies.
func (s *shop) holdBack(ctx context.Context, db *store.Store) (*HoldBack, error) {
	const year = 52 * forecast.Week
	jobs, err := db.Emergencies(ctx, s.ask.AsOf-year, s.ask.AsOf)
	if err != nil {
		return nil, err
	}
	var hours []float64
	for _, j := range jobs {
		for _, h := range []sql.Null[float64]{j.Clocked, j.Billed, j.Quoted} {
			if h.Valid && h.V > 0 {
				hours = append(hours, h.V)
				break
			}
		}
	}
	if len(hours) < leastEmergencies || len(jobs) > mostEmergencies {
		return nil, nil
	}
	mean, sd := stat.MeanStdDev(hours, nil)
	days := min(year, s.ask.AsOf-s.book.Jobs[0].DroppedOff)
	e := capacity.Emergencies{PerWeek: forecast.Week * float64(len(jobs)) / float64(days), Hours: mean, SD: max(sd, .01*mean)}
	return &HoldBack{PerWeek: e.PerWeek, Hours: e.Quantile(s.policy.PlanAt), At: s.policy.PlanAt, Release: lastButOne(s.calendar).String()}, nil
}

// lastButOne gives the last but one of the weekdays on which a shop usually opens,
// from Monday on; of a shop that opens on one alone, that one.
func lastButOne(c capacity.Calendar) time.Weekday {
	var open []time.Weekday
	for d := time.Monday; d <= time.Monday+6; d++ {
		if c.Week[d%7] > 0 {
			open = append(open, d%7)
		}
	}
	return open[max(0, len(open)-2)]
}
