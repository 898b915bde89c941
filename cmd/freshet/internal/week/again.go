package week

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
)

// Again is a past report made again.
type Again struct {
	Report report.Report // as it was made then, to the byte
	AsOf   forecast.Date
	Other  string // why it doesn't come out the same anew; empty if it does
}

// MakeAgain gives the report of the week that begins on a Monday, the one that
// its letter tells of. It is made again on a copy of the records from which all
// that came in since is taken back out, with the settings of then, and compared
// with what was kept; what was kept is what is given.
func MakeAgain(ctx context.Context, db *store.Store, monday forecast.Date, now time.Time) (Again, error) {
	run, ok, err := db.RunOfWeek(ctx, monday)
	if err != nil {
		return Again{}, err
	}
	if !ok {
		kept, err := db.RunWeeks(ctx)
		if err != nil {
			return Again{}, err
		}
		return Again{}, fmt.Errorf("week: need a kept report of the week of %s, have %s", report.LongDay(monday), spans(kept))
	}
	a := Again{AsOf: run.AsOf}
	if a.Report, err = read(run); err != nil {
		return a, err
	}
	made, err := makeAnew(ctx, db, run, now)
	switch {
	case ctx.Err() != nil:
		return a, ctx.Err()
	case err != nil:
		a.Other = "it can't be worked out anew: " + Plain(err)
	case !bytes.Equal(made, run.Report):
		a.Other = "the records, the settings or freshet itself have changed since in a way that can't be taken back, so that working it out anew gives other numbers"
	}
	return a, nil
}

// makeAnew gives the JSON of a run's report made from the records as they
// stood.
func makeAnew(ctx context.Context, db *store.Store, run store.Run, now time.Time) (made []byte, err error) {
	dir, err := os.MkdirTemp(db.Folder(), ".again-") // where there is room for the database
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	past, err := db.Past(ctx, run.Basis, filepath.Join(dir, "past.db"), now)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, past.Close()) }() // before its folder goes
	again, err := Make(ctx, past, desk.Ask{AsOf: run.AsOf, Weeks: run.Weeks, Seed: run.Seed}, run.Version)
	return again.Report, err
}

// spans names weeks by their Mondays, which come in order: those that follow
// each other as one span.
func spans(mondays []forecast.Date) string {
	if len(mondays) == 0 {
		return "none of any week: 'freshet serve' keeps those that it makes, 'freshet report --send' those that it mails"
	}
	var out []string
	for from, until := 0, 0; from < len(mondays); from = until {
		for until = from + 1; until < len(mondays) && mondays[until] == mondays[until-1]+forecast.Week; until++ {
		}
		span := weekName(mondays[from])
		if until-from > 1 {
			span += " to " + weekName(mondays[until-1])
		}
		out = append(out, span)
	}
	return "those of " + strings.Join(out, ", ")
}

// weekName gives the name of the ISO week that a day lies in.
func weekName(day forecast.Date) string {
	y, w := day.ISOWeek()
	return fmt.Sprintf("%04d-W%02d", y, w)
}

// ParseWeek reads the name of an ISO week, such as 2026-W48, and gives its
// Monday.
func ParseWeek(text string) (forecast.Date, error) {
	var year, week int
	if n, err := fmt.Sscanf(text, "%4d-W%2d", &year, &week); n == 2 && err == nil {
		monday := forecast.NewDate(year, time.January, 4).Monday() + forecast.Date(forecast.Week*(week-1)) // January 4 lies in week 1
		if text == weekName(monday) {
			return monday, nil
		}
	}
	return 0, fmt.Errorf("week: need a week such as 2026-W48, have %q", text)
}
