package week

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/weekly"
	"freshet/ingest/store"
	"freshet/report"
)

// slot gives the newest moment at which a letter was due, and false if there
// was none of late.
func (w *Week) slot(ctx context.Context, loc *time.Location) (time.Time, bool, error) {
	text, err := w.Store.Setting(ctx, post.SettingSchedule, weekly.Usual)
	if err != nil {
		return time.Time{}, false, err
	}
	s, err := weekly.Parse(text)
	if err != nil {
		return time.Time{}, false, err
	}
	t, ok := s.Last(w.Now(), loc)
	return t, ok, nil
}

// report makes the report anew if that is wished or due: there is none, a
// week's slot has passed since the last, the records aren't what they were, or
// another freshet made it.
func (w *Week) report(ctx context.Context, wish Wish) (tried bool, err error) {
	if batches, err := w.Store.Batches(ctx, 1); err != nil || len(batches) == 0 {
		return false, err
	}
	if wish == Due {
		if due, err := w.reportDue(ctx); err != nil || !due {
			return err != nil, err
		}
	}
	ask, err := w.Ask(ctx)
	if err != nil {
		return true, err
	}
	var brief desk.Brief
	make := (*desk.Desk).Report
	if w.Brief != nil {
		make = func(d *desk.Desk, ctx context.Context, ask desk.Ask, version string) (r report.Report, err error) {
			r, brief, err = d.ReportAndBrief(ctx, ask, version)
			return r, err
		}
	}
	run, err := runOf(ctx, w.Store, ask, w.Version, make)
	if err != nil {
		return true, err
	}
	run.MadeAt = w.Now().UTC().Format(time.RFC3339)
	if err := w.Store.KeepRun(ctx, run); err != nil {
		return true, err
	}
	w.Log.Info("a report was made", "of", run.AsOf)
	if w.Brief == nil {
		return true, nil
	}
	return true, w.Brief(ctx, brief)
}

func (w *Week) reportDue(ctx context.Context) (bool, error) {
	last, ok, err := w.Store.LatestRun(ctx)
	if err != nil || !ok {
		return true, err
	}
	made, err := time.Parse(time.RFC3339, last.MadeAt)
	if err != nil {
		return false, err
	}
	loc, err := (&desk.Desk{Store: w.Store}).Zone(ctx)
	if err != nil {
		return false, err
	}
	slot, found, err := w.slot(ctx, loc)
	if err != nil {
		return false, err
	}
	basis, err := w.Store.Basis(ctx)
	return found && made.Before(slot) || !reflect.DeepEqual(basis, last.Basis) || last.Version != w.Version, err
}

// Make makes a report of the records as they are, and all that is kept with it
// but the time.
func Make(ctx context.Context, db *store.Store, ask desk.Ask, version string) (store.Run, error) {
	return runOf(ctx, db, ask, version, (*desk.Desk).Report)
}

func runOf(ctx context.Context, db *store.Store, ask desk.Ask, version string, make func(*desk.Desk, context.Context, desk.Ask, string) (report.Report, error)) (store.Run, error) {
	basis, err := db.Basis(ctx) // before the records are read: what comes in meanwhile calls for another report
	if err != nil {
		return store.Run{}, err
	}
	r, err := make(&desk.Desk{Store: db}, ctx, ask, version)
	if err != nil {
		return store.Run{}, err
	}
	text, err := json.Marshal(r)
	if err != nil {
		return store.Run{}, err
	}
	until := ask.AsOf - 1
	if r.DataUntil != nil {
		until = *r.DataUntil
	}
	return store.Run{AsOf: ask.AsOf, Seed: ask.Seed, Weeks: ask.Weeks, Version: version, DataUntil: until, Report: text, Basis: basis}, nil
}

// read gives a run's report.
func read(run store.Run) (r report.Report, err error) {
	if err := json.Unmarshal(run.Report, &r); err != nil {
		return r, fmt.Errorf("week: the report of %s: %w", report.Day(run.AsOf), err)
	}
	return r, nil
}
