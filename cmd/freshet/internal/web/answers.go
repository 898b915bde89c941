package web

import (
	"context"
	"sync"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
)

// answers keeps what the desk answered, until records or the day change: a
// first question waits a second, and everyone after it doesn't.
type answers struct {
	mu   sync.Mutex
	made map[question]answered
}

// question is one asked of a shop; what holds its name and settings.
type question struct {
	shop *store.Store
	what string
}

type answered struct {
	day     forecast.Date
	changed time.Time
	value   any
}

// forget drops them all: something was changed that they may hang on.
func (a *answers) forget() {
	a.mu.Lock()
	defer a.mu.Unlock()
	clear(a.made)
}

// mostAnswers is how many are kept: of what-ifs there is no end.
const mostAnswers = 64

// answer gives what make says of the shop that is shown, as of today.
func answer[T any](ctx context.Context, s *Server, what string, weeks int, make func(context.Context, *desk.Desk, desk.Ask) (T, error)) (v T, err error) {
	db := s.shop()
	today, err := s.today(ctx)
	if err != nil {
		return v, err
	}
	changed, err := db.Changed(ctx)
	if err != nil {
		return v, err
	}
	a, q := &s.answers, question{db, what}
	a.mu.Lock()
	defer a.mu.Unlock()
	if k, ok := a.made[q]; ok && k.day == today && k.changed.Equal(changed) {
		return k.value.(T), nil
	}
	// A reader who goes away doesn't stop it: the next one asks the same.
	if v, err = make(context.WithoutCancel(ctx), &desk.Desk{Store: db}, desk.Ask{AsOf: today, Weeks: weeks, Seed: desk.Seed(today)}); err != nil {
		return v, err
	}
	if len(a.made) >= mostAnswers || a.made == nil {
		a.made = map[question]answered{}
	}
	a.made[q] = answered{today, changed, v}
	return v, nil
}
