package desk

import (
	"context"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/ingest/store"
)

// visit is one job's stay. What came on or after the counter's day isn't in it.
type visit struct {
	key                   string // of its job line
	ro                    string
	kind                  int
	in, ready, left       forecast.Date // ready is 0 while it is open, left while the rig hasn't been picked up
	quoted, clocked       float64       // hours; 0 if not known; clocked so far while it is open
	parts                 float64       // days until its part came; below 0 where none is known of
	waiting               bool          // for a part, by its status on the counter's day
	emergency, deferrable bool
	declined              bool // or put off by its status, so that it isn't in the line
}

// readVisits gives the jobs of the years that quotes learn from, and whether
// the records say when jobs are ready.
func (s *shop) readVisits(ctx context.Context, db *store.Store) (out []visit, closed bool, err error) {
	asOf := s.ask.AsOf
	jobs, err := s.since(ctx, db, asOf-visitDays)
	if err != nil {
		return nil, false, err
	}
	ended, old := 0, 0
	out = s.visits(jobs)
	for _, v := range out {
		if v.in < asOf-90 {
			if old++; v.ready != 0 {
				ended++
			}
		}
	}
	return out, old > 0 && ended*seldomClosed >= old, nil
}

// visitsNow gives the jobs of the last year by what is on record once the day of
// the question is over.
func (s *shop) visitsNow(ctx context.Context, db *store.Store) ([]visit, error) {
	jobs, err := db.Jobs(ctx, s.ask.AsOf-openTooLong, s.ask.AsOf+1)
	return s.visits(jobs), err
}

// visits gives jobs as quotes see them; one of a kind that isn't in the book yet
// isn't among them.
func (s *shop) visits(jobs []store.Job) (out []visit) {
	index := map[string]int{}
	for i, k := range s.book.Kinds {
		index[k] = i
	}
	for _, j := range jobs {
		name := j.Kind
		if strings.TrimSpace(name) == "" {
			name = noKind
		}
		kind, ok := index[name]
		if !ok {
			continue
		}
		v := visit{key: j.Key, ro: j.RO, kind: kind, in: j.DroppedOff, ready: j.Ready.V, left: j.PickedUp.V, quoted: j.Quoted.V, parts: -1, emergency: j.Emergency, deferrable: j.Deferrable, waiting: waits(j.Status), declined: declined(j.Status)}
		if j.PartsWait.Valid {
			v.parts = j.PartsWait.V
		}
		switch {
		case j.Clocked.Valid:
			v.clocked = j.Clocked.V
		case j.Billed.Valid && v.ready != 0:
			v.clocked = j.Billed.V
		}
		out = append(out, v)
	}
	return out
}

// openNow gives the jobs that are in the shop by what is on record now, those of
// the day of the question included.
func (c *Counter) openNow() (out []capacity.OpenJob) {
	for _, v := range c.now {
		if !v.declined && v.ready == 0 {
			out = append(out, v.open(c.asOf, true))
		}
	}
	return out
}

// open gives the job as it stands in the shop on a day. Its status and the hours
// clocked so far are those of the day of the question.
func (v visit) open(day forecast.Date, latest bool) capacity.OpenJob {
	j := capacity.OpenJob{Kind: v.kind, DroppedOff: v.in, Quoted: v.quoted, Emergency: v.emergency, Deferrable: v.deferrable}
	if latest {
		j.Waiting, j.Worked = v.waiting, v.clocked
	}
	j.Waiting = j.Waiting || v.parts >= 0 && v.in+forecast.Date(v.parts) >= day
	return j
}
