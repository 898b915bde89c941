package web

import (
	"context"
	"sync"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
)

// answers keeps what the desk answered, until records, settings or the day
// change: a first question waits a second, and everyone after it doesn't.
type answers struct {
	mu   sync.Mutex
	made map[asking]answered
	fits int // how many were made that took long

	making sync.Mutex // one that takes long is made at a time: the rest of the machine is for those who read
}

// asking is a question to a shop; what holds its name and settings.
type asking struct {
	shop *store.Store
	what string
}

// state is what an answer hangs on.
type state struct {
	day     forecast.Date
	changed time.Time
	turn    int64 // the number of the last change on the pages of any process
}

// answered is an answer, or what it needs that isn't on record.
type answered struct {
	state
	value any
	lacks error
}

func (a *answers) count() int {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.fits
}

// mostAnswers is how many are kept: of what-ifs there is no end.
const mostAnswers = 64

// question is one that pages ask the desk, so many weeks ahead.
type question[T any] struct {
	what  string
	weeks int
	quick bool // takes milliseconds
	make  func(context.Context, *desk.Desk, desk.Ask) (T, error)
}

// answer gives the answer for the shop that is shown, as of today. While the
// report is made anew, as each page says then, the last answer does: those that
// are asked for most come after the report, see Warm.
func answer[T any](ctx context.Context, s *Server, q question[T]) (T, error) {
	busy, _ := ctx.Value(busyKey{}).(bool)
	return answerOf(ctx, s, s.shop(), q, busy)
}

// counted gives what count finds in the records as they stand.
func counted[T any](ctx context.Context, s *Server, what string, count func(context.Context, *store.Store) (T, error)) (T, error) {
	return answerOf(ctx, s, s.shop(), question[T]{what, 0, true, func(ctx context.Context, d *desk.Desk, _ desk.Ask) (T, error) { return count(ctx, d.Store) }}, false)
}

// answerOf gives the answer to a question, or an older one if that will do.
func answerOf[T any](ctx context.Context, s *Server, db *store.Store, q question[T], older bool) (v T, err error) {
	a := &s.answers
	now, err := s.state(ctx, db)
	if err != nil {
		return v, err
	}
	kept := func() (k answered, ok bool) {
		a.mu.Lock()
		defer a.mu.Unlock()
		k, ok = a.made[asking{db, q.what}]
		return k, ok && (k.state == now || older && k.lacks == nil)
	}
	if k, ok := kept(); ok {
		return k.value.(T), k.lacks
	}
	if !q.quick {
		a.making.Lock()
		defer a.making.Unlock()
		if k, ok := kept(); ok { // made while this one waited for its turn
			return k.value.(T), k.lacks
		}
	}
	// A reader who goes away doesn't stop it: the next one asks the same.
	v, err = q.make(context.WithoutCancel(ctx), &desk.Desk{Store: db}, desk.Ask{AsOf: now.day, Weeks: q.weeks, Seed: desk.Seed(now.day)})
	if _, lacks := need(err); err != nil && !lacks {
		return v, err
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.made) >= mostAnswers || a.made == nil {
		a.made = map[asking]answered{}
	}
	a.made[asking{db, q.what}] = answered{now, v, err}
	if !q.quick {
		a.fits++
	}
	return v, err
}

// state gives what answers about a shop hang on now.
func (s *Server) state(ctx context.Context, db *store.Store) (n state, err error) {
	if n.turn, err = db.LastChange(ctx); err != nil {
		return n, err
	}
	if n.day, err = today(ctx, db, s.Now()); err != nil {
		return n, err
	}
	n.changed, err = db.Changed(ctx)
	return n, err
}

// Warm makes the answers that pages ask for first, unless they are there and
// of now, so that no page has to wait for them. It is to be called after each
// report, and now and then, for the day changes by itself. What can't be
// answered is left for its page to say. It tells whether it made any.
func (s *Server) Warm(ctx context.Context) (made bool) {
	db, before := s.shop(), s.answers.count()
	for _, make := range []func(){
		func() { answerOf(ctx, s, db, askQuotes, false) },
		func() { s.likely(ctx) },
		func() { answerOf(ctx, s, db, askOutlook(usualWeeks), false) },
		func() { answerOf(ctx, s, db, askWatch, false) },
		func() { answerOf(ctx, s, db, askCrew(capacity.WhatIf{}), false) },
		func() { answerOf(ctx, s, db, askWhatIfs, false) },
	} {
		if ctx.Err() == nil {
			make()
		}
	}
	return s.answers.count() > before
}
