// Package week does the shop's recurring work, in one order: it takes in what
// lies in the watched folder, makes the report (the forecast, the watch for
// what doesn't fit, the crew's plan), makes and sends the letter, and makes the
// nightly backup.
//
// Each step does what is due and nothing else, so that the whole may be run as
// often as one likes. A step that fails, or breaks off, is kept as failed until
// it goes well, is said in the letter and on the pages, and the steps after it
// go on.
//
// The package refuses to know what time it is, and to wait: its caller does
// both.
//
// To use it: fill a Week, and Do it, every half minute or by a person's wish.
package week

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"sync"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/ingest/store"
)

// Week is what the shop's recurring work needs. It is for one process, and safe
// for concurrent use.
type Week struct {
	Store   *store.Store
	Now     func() time.Time
	Ask     func(context.Context) (desk.Ask, error) // what the report is about
	Getenv  func(string) string                     // where the mail password may stand
	Log     *slog.Logger                            // gets errors whole: what is written of them is its handler's to decide
	Version string                                  // of freshet
	Backups string                                  // folder of the nightly backups; empty: none are made
	Keep    store.Keep                              // how many of them stay

	// Brief has the shop's group keep what it needs of a new report; nil for a
	// shop alone.
	Brief func(context.Context, desk.Brief) error

	one     sync.Mutex
	failed  map[string]time.Time // steps by when they last failed
	refused bool                 // it was logged that the database takes no changes
}

// A Wish is what is wanted beyond what is due.
type Wish int

// The wishes.
const (
	Due    Wish = iota
	Anew        // the report made anew
	Letter      // and this week's letter made and sent now, whatever the schedule
)

// step is one part of the work. do tells whether there was anything to do.
type step struct {
	name string // as people read it
	do   func(context.Context, Wish) (tried bool, err error)
	rest time.Duration // after a failure, before it is tried again by itself
}

// Names of the steps, and of what all of them need.
const (
	database   = "The database"
	folderStep = "The watched folder"
	reportStep = "The report"
	letterStep = "The letter"
	backupStep = "The nightly backup"
)

// pause spares the machine a dear step that fails every time.
const pause = 10 * time.Minute

func (w *Week) steps() []step {
	return []step{
		{folderStep, w.takeIn, 0},
		{reportStep, w.report, pause},
		{letterStep, w.letter, 0},
		{backupStep, w.backup, pause},
	}
}

// StepError is the error of one step.
type StepError struct {
	Step string // as people read it
	Err  error
}

func (e *StepError) Error() string { return e.Step + ": " + e.Err.Error() }

// Unwrap gives what went wrong in the step.
func (e *StepError) Unwrap() error { return e.Err }

// Minor tells whether the report and the letter are none the worse for it.
func (e *StepError) Minor() bool {
	return e.Step != database && e.Step != reportStep && e.Step != letterStep
}

// Do does what is due and what is wished, one call at a time, and gives the
// steps that failed, which are kept and logged already. It ends early, with no
// more to say, if ctx does.
func (w *Week) Do(ctx context.Context, wish Wish) (failed []*StepError) {
	w.one.Lock()
	defer w.one.Unlock()
	// Each step keeps what it did. Where nothing can be kept, a letter would go
	// out again and again.
	if r := w.Store.Refusal(); r != nil {
		if !w.refused {
			w.Log.Error("the database takes no changes: no report is made, no letter sent, no backup made", "error", r)
		}
		w.refused = true
		return []*StepError{{database, r}}
	}
	if w.failed == nil {
		w.failed = map[string]time.Time{}
	}
	for _, s := range w.steps() {
		now := w.Now()
		if last, ok := w.failed[s.name]; ok && wish == Due && now.Sub(last) < s.rest && !now.Before(last) {
			continue
		}
		tried, err := attempt(ctx, s, wish)
		if ctx.Err() != nil {
			return failed // broken off, not failed
		}
		if err == nil && tried {
			delete(w.failed, s.name)
			err = w.keep(ctx, s.name, nil)
		} else if err != nil {
			w.failed[s.name] = now
			err = errors.Join(err, w.keep(ctx, s.name, err))
		}
		if err != nil {
			failed = append(failed, &StepError{s.name, err})
		}
	}
	return failed
}

// attempt turns a panic into an error that says nothing of the shop's data.
func attempt(ctx context.Context, s step, wish Wish) (tried bool, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("it broke off: that is a fault of freshet (%T)", p)
		}
	}()
	return s.do(ctx, wish)
}

// keep keeps how a step went. A failure that goes on is logged once.
func (w *Week) keep(ctx context.Context, name string, failure error) error {
	f := store.Failure{Step: name, At: w.Now()}
	if failure != nil {
		f.Said = Plain(failure)
	}
	changed, err := w.Store.SetFailure(ctx, f)
	switch {
	case err != nil:
		w.Log.Error("how a step of the week's work went can't be kept", "step", name, "error", err)
	case changed && failure != nil:
		w.Log.Error("a step of the week's work failed: the pages say why", "step", name, "error", failure)
	case changed:
		w.Log.Info("a step of the week's work goes well again", "step", name)
	}
	return err
}

// Plain writes an error for people, to whom the parts of the program mean
// nothing.
func Plain(err error) string { return packages.ReplaceAllString(err.Error(), "$1") }

var packages = regexp.MustCompile(`(^|: |\n\s*)(?:(?:ingest|store|xlsx|ics|forecast|capacity|report|desk|weekly|week|queue|watch|workload|mail|post): )+`)

// backup backs the shop up once a day, once there is something to lose.
func (w *Week) backup(ctx context.Context, _ Wish) (bool, error) {
	if w.Backups == "" {
		return false, nil
	}
	if batches, err := w.Store.Batches(ctx, 1); err != nil || len(batches) == 0 {
		return false, err
	}
	loc, err := (&desk.Desk{Store: w.Store}).Zone(ctx)
	if err != nil {
		return true, err
	}
	made, err := w.Store.Nightly(ctx, w.Backups, w.Keep, w.Now().In(loc))
	if err == nil && made != "" {
		w.Log.Info("a backup was made, and checked")
	}
	return true, err
}
