package desk

import (
	"context"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/store"
)

// plan puts the crew, its calendar and the work side by side.
func (s *shop) plan(ctx context.Context, db *store.Store, f workload.Futures) (capacity.Plan, error) {
	if len(s.crew) == 0 {
		return capacity.Plan{}, ErrNoCrew
	}
	if f.Labor.Values == nil {
		return capacity.Plan{}, ErrNoHours
	}
	visits, closed, err := s.readVisits(ctx, db)
	if err != nil {
		return capacity.Plan{}, err
	}
	p := capacity.Plan{From: s.ask.AsOf, Policy: s.policy, Kinds: demands(f, s.known.Seen), Calendar: s.calendar, Crew: s.crew, Seed: s.ask.Seed,
		Habits: learnHabits(visits, len(s.book.Kinds), s.ask.AsOf)}
	if closed {
		p.Open = s.openJobs(visits)
		p.Lot = s.lot(visits)
	} else {
		s.warn("The records seldom say when a job was ready, so that open work isn't known: the backlog starts at 0 hours.")
	}
	for _, a := range s.absences {
		if a.Until >= s.ask.AsOf {
			p.Absences = append(p.Absences, a)
		}
	}
	return p, nil
}

// demands gives the work to come by job kind, in the order of the book's kinds;
// seen is how much of the first week's has come in.
func demands(f workload.Futures, seen []float64) []capacity.Demand {
	var out []capacity.Demand
	for k, kind := range namedKinds(f.Kinds) {
		d := capacity.Demand{Kind: kind, Jobs: copied(f.DropOffs[k]), Hours: copied(f.Hours[k])}
		for i, still := range f.Still { // in the first week only what has yet to come, its hours in proportion
			d.Jobs.Path(i)[0] = max(0, d.Jobs.Path(i)[0]-seen[k])
			if all := f.Labor.Path(i)[0]; all > 0 {
				d.Hours.Path(i)[0] *= still / all
			}
		}
		out = append(out, d)
	}
	return out
}

func copied(p forecast.Paths) forecast.Paths {
	out := forecast.NewPaths(p.Start, p.Step, p.H, p.N())
	copy(out.Values, p.Values)
	return out
}

// Open jobs older than this were most likely finished and never closed on
// paper.
const forgotten = 365

// openJobs gives what is in the shop.
func (s *shop) openJobs(visits []visit) []capacity.OpenJob {
	var out []capacity.OpenJob
	for _, v := range visits {
		if v.ready == 0 && !v.declined && v.in >= s.ask.AsOf-forgotten {
			out = append(out, capacity.OpenJob{Kind: v.kind, DroppedOff: v.in, Quoted: v.quoted, Worked: v.clocked, Waiting: v.waiting, Emergency: v.emergency, Deferrable: v.deferrable})
		}
	}
	return out
}

// longestParked is for how many days a finished rig is taken to stand on the
// lot where nobody said that it was picked up: common practice, no source.
const longestParked = 30

// lot gives the rigs that are ready and not picked up, where the shop says when
// they are, and the rigs a job.
func (s *shop) lot(visits []visit) (lot capacity.Lot) {
	orders, jobs, says := map[string]bool{}, 0, false
	for _, v := range visits {
		if v.in < s.ask.AsOf-habitDays {
			continue
		}
		jobs++
		orders[strings.TrimSpace(v.ro)] = true
		if v.left > v.ready {
			says = true
		}
		if v.ready != 0 && v.left == 0 && v.ready >= s.ask.AsOf-longestParked {
			lot.Ready++
		}
	}
	if !says {
		lot.Ready = 0
	}
	lot.Rigs = float64(len(orders)) / float64(max(1, jobs))
	return lot
}
