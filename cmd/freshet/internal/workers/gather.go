package workers

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/riverqueue/river"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/store"
)

// Gather is the job of what concerns all shops: whom they may lend each other,
// and what the young ones borrow.
type Gather struct {
	Of string `json:"of" river:"unique"` // the newest briefs
}

// Kind names the job for River.
func (Gather) Kind() string { return "gather" }

// InsertOpts make it the only one of its briefs.
func (Gather) InsertOpts() river.InsertOpts {
	return river.InsertOpts{UniqueOpts: river.UniqueOpts{ByArgs: true}, MaxAttempts: 3}
}

type gatherWorker struct {
	river.WorkerDefaults[Gather]
	Config
}

// Work gathers.
func (w *gatherWorker) Work(ctx context.Context, _ *river.Job[Gather]) error {
	briefs, err := w.Group.Briefs(ctx, store.Picked{})
	if err != nil {
		return err
	}
	areas := map[string][]store.Brief{}
	var young []store.Brief
	for _, b := range briefs {
		areas[b.Area] = append(areas[b.Area], b)
		if !b.Teaches && len(b.Weeks) > 0 {
			young = append(young, b)
		}
	}
	var loans []store.Loan
	for _, shops := range areas {
		some, err := lend(shops)
		if err != nil {
			return err
		}
		loans = append(loans, some...)
	}
	if err := w.Group.KeepLoans(ctx, loans); err != nil || len(young) == 0 {
		return err
	}
	return w.teach(ctx, young)
}

// lend gives the loans between shops.
func lend(shops []store.Brief) ([]store.Loan, error) {
	weeks := make([][]capacity.Spared, len(shops))
	for i, b := range shops {
		for _, w := range b.Weeks {
			if w.Spare == nil {
				continue
			}
			var s capacity.Spared
			if err := json.Unmarshal(w.Spare, &s); err != nil {
				return nil, fmt.Errorf("work: %s: %w", b.Shop, err)
			}
			weeks[i] = append(weeks[i], s)
		}
	}
	var out []store.Loan
	for _, l := range capacity.Lend(weeks) {
		text, err := json.Marshal(l)
		if err != nil {
			return nil, err
		}
		out = append(out, store.Loan{Monday: l.Monday, Lender: shops[l.From].Shop, Borrower: shops[l.To].Shop, Loan: text})
	}
	return out, nil
}

// stale is after how many days a young shop gets what its siblings teach anew.
const stale = 7

// teach gives young shops what the grown ones of their area have in common, and
// has their reports made anew with it. A shop that can't be taught holds back no
// other.
func (w *gatherWorker) teach(ctx context.Context, young []store.Brief) (failed error) {
	pooled := map[string]*workload.Siblings{} // by area, once it is asked for
	for _, b := range young {
		db, err := w.Group.Open(ctx, b.Shop)
		if err == nil {
			err = errors.Join(w.teachOne(ctx, db, b, pooled), db.Close())
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			failed = errors.Join(failed, fmt.Errorf("%s: %w", b.Shop, err))
		}
	}
	return failed
}

func (w *gatherWorker) teachOne(ctx context.Context, db *store.Store, b store.Brief, pooled map[string]*workload.Siblings) error {
	text, err := db.Setting(ctx, desk.SettingSiblings, "")
	if err != nil {
		return err
	}
	var has workload.Siblings
	if text != "" {
		if err := json.Unmarshal([]byte(text), &has); err != nil {
			return err
		}
		if b.AsOf < has.AsOf+stale {
			return nil
		}
	}
	s, ok := pooled[b.Area]
	if !ok {
		if s, err = pool(ctx, w.Group, b.Area); err != nil {
			return err
		}
		pooled[b.Area] = s
	}
	if s == nil {
		return nil
	}
	kept, err := json.Marshal(s)
	if err != nil || string(kept) == text {
		return err
	}
	if err := db.Set(ctx, desk.SettingSiblings, string(kept)); err != nil {
		return err
	}
	_, err = w.hands.client.Insert(ctx, Shop{b.Shop, Anew, w.Now().UTC().Format(time.RFC3339Nano)}, nil)
	return err
}

// pool finds what the grown shops of an area have in common, nil where there are
// none.
func pool(ctx context.Context, g *store.Group, area string) (*workload.Siblings, error) {
	briefs, err := g.Briefs(ctx, store.Picked{Lessons: true})
	if err != nil {
		return nil, err
	}
	var lessons []workload.Lesson
	for _, b := range briefs {
		if b.Area != area || b.Lesson == nil {
			continue
		}
		var l workload.Lesson
		if err := json.Unmarshal(b.Lesson, &l); err != nil {
			return nil, fmt.Errorf("work: %s: %w", b.Shop, err)
		}
		lessons = append(lessons, l)
	}
	return workload.Pool(lessons), nil
}

// keep has the group keep a shop's brief.
func keep(ctx context.Context, g *store.Group, shop string, b desk.Brief, now time.Time) error {
	out := store.Brief{Shop: shop, Title: b.Shop, AsOf: b.AsOf, MadeAt: now}
	if b.DataUntil != nil {
		out.DataUntil.V, out.DataUntil.Valid = *b.DataUntil, true
	}
	if b.Lesson != nil {
		text, err := json.Marshal(b.Lesson)
		if err != nil {
			return err
		}
		out.Lesson = text
	}
	spare := map[forecast.Date]capacity.Spared{}
	for _, s := range b.Spare {
		spare[s.Monday] = s
	}
	for _, w := range b.Weeks {
		week := store.BriefWeek{Monday: w.Week, DropOffs: w.DropOffs.Mean}
		if h := w.Hours.Mean; !math.IsNaN(h) {
			week.Hours.V, week.Hours.Valid = h, true
		}
		if w.AvailableHours != nil {
			week.Available.V, week.Available.Valid = *w.AvailableHours, true
			week.Chance.V, week.Chance.Valid = *w.ChanceShort, true
		}
		if s, ok := spare[w.Week]; ok {
			text, err := json.Marshal(s)
			if err != nil {
				return err
			}
			week.Spare = text
		}
		out.Weeks = append(out.Weeks, week)
	}
	return g.KeepBrief(ctx, out)
}
