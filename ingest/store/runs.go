package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"freshet/forecast"

	"github.com/jmoiron/sqlx"
)

// Run is what one run computed, kept so that pages can show it and a letter
// can be made again.
type Run struct {
	ID        int64
	AsOf      forecast.Date
	Seed      uint64
	Weeks     int // ahead
	Version   string
	DataUntil forecast.Date
	MadeAt    string // RFC 3339, UTC
	Report    []byte // JSON of report.Report
	Basis     Basis
}

// Basis names the state of the records that an answer is made from: two that
// are equal are of the same records.
type Basis struct {
	Batch     int64             `json:"batch"`      // the newest file taken in that stands
	KindStep  int64             `json:"kind_step"`  // the newest step of grouping kinds that stands
	Note      int64             `json:"note"`       // the newest note on an alert
	NoteUndos int64             `json:"note_undos"` // how many notes were taken back
	Settings  map[string]string `json:"settings"`   // of the shop, nothing of mail and pages
}

// Basis gives the present state.
func (s *Store) Basis(ctx context.Context) (Basis, error) {
	b := Basis{Settings: map[string]string{}}
	tx, err := s.r.BeginTxx(ctx, nil)
	if err != nil {
		return b, wrap(err)
	}
	defer tx.Rollback()
	if err := tx.QueryRowContext(ctx, `SELECT (SELECT coalesce(max(id), 0) FROM batches WHERE undone_at IS NULL),
		(SELECT coalesce(max(id), 0) FROM kind_steps WHERE id NOT IN (SELECT step FROM kind_undos)),
		(SELECT coalesce(max(id), 0) FROM notes), (SELECT count(*) FROM note_undos)`).Scan(&b.Batch, &b.KindStep, &b.Note, &b.NoteUndos); err != nil {
		return b, wrap(err)
	}
	var rows []struct{ Name, Value string }
	if err := tx.SelectContext(ctx, &rows, "SELECT name, value FROM settings WHERE "+ofTheShop); err != nil {
		return b, wrap(err)
	}
	for _, r := range rows {
		b.Settings[r.Name] = r.Value
	}
	return b, nil
}

// ofTheShop picks the settings that answers depend on.
const ofTheShop = "name NOT LIKE 'mail %' AND name NOT LIKE 'web %' AND name NOT LIKE 'backup %' AND name NOT LIKE 'week.%'"

// Past makes a copy of the database in a file at path, in which the records
// are in an earlier state: files taken in since are taken back out, steps of
// grouping kinds undone, notes taken back, and those that were taken back since
// stand again, on the copy alone. A file or a step that was taken back is gone,
// so that the copy can't have it. The caller closes the copy and removes it.
func (s *Store) Past(ctx context.Context, b Basis, path string, now time.Time) (_ *Store, err error) {
	if s.group == nil {
		if _, err := newCopy(ctx, s.r, path); err != nil {
			return nil, err
		}
	}
	c, err := Open(ctx, path)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, c.Close())
		}
	}()
	if s.group != nil {
		if _, err := Move(ctx, s, c, nil); err != nil {
			return nil, err
		}
	}
	for {
		have, err := c.Basis(ctx)
		switch {
		case err != nil:
			return nil, err
		case have.Batch > b.Batch:
			_, err = c.Undo(ctx, now)
		case have.KindStep > b.KindStep:
			_, err = c.UndoKinds(ctx, now)
		default:
			return c, c.asOf(ctx, b, now)
		}
		if err != nil {
			return nil, err
		}
	}
}

// asOf has the notes that stood in a state stand, those that came after it taken
// back, and the settings as they were.
func (s *Store) asOf(ctx context.Context, b Basis, now time.Time) error {
	return s.within(ctx, func(tx *sqlx.Tx) error {
		// The history of a copy that is thrown away may be rewritten.
		if _, err := tx.Exec("DROP TRIGGER note_undos_are_kept"); err != nil {
			return wrap(err)
		}
		if _, err := tx.Exec("DELETE FROM note_undos WHERE note NOT IN (SELECT note FROM note_undos ORDER BY made_at, note LIMIT ?)", b.NoteUndos); err != nil {
			return wrap(err)
		}
		if _, err := tx.Exec("INSERT INTO note_undos(note, who, made_at) SELECT id, '', ? FROM notes WHERE id > ? AND id NOT IN (SELECT note FROM note_undos)", instant(now), b.Note); err != nil {
			return wrap(err)
		}
		if _, err := tx.Exec("DELETE FROM settings WHERE " + ofTheShop); err != nil {
			return wrap(err)
		}
		for k, v := range b.Settings {
			if _, err := tx.Exec("INSERT INTO settings(name, value) VALUES(?, ?)", k, v); err != nil {
				return wrap(err)
			}
		}
		return nil
	})
}

// KeepRun adds a run.
func (s *Store) KeepRun(ctx context.Context, r Run) error {
	basis, err := json.Marshal(r.Basis)
	if err != nil {
		return wrap(err)
	}
	return s.within(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.Exec("INSERT INTO runs(as_of, seed, weeks, version, data_until, made_at, report, basis) VALUES(?, ?, ?, ?, ?, ?, ?, ?)",
			r.AsOf.String(), int64(r.Seed), r.Weeks, r.Version, r.DataUntil.String(), r.MadeAt, string(r.Report), string(basis))
		return wrap(err)
	})
}

// LatestRun gives the newest run, and false if there is none.
func (s *Store) LatestRun(ctx context.Context) (Run, bool, error) { return s.run(ctx, "") }

// RunBefore gives the newest run that knew only what was known before a day,
// and false if there is none.
func (s *Store) RunBefore(ctx context.Context, day forecast.Date) (Run, bool, error) {
	return s.run(ctx, "WHERE as_of < ? ", day.String())
}

// RunOfWeek gives the run that the letters of the week that begins on a Monday
// tell of, or, where it had none, the newest run as of a day in that week; and
// false if there is neither.
func (s *Store) RunOfWeek(ctx context.Context, monday forecast.Date) (Run, bool, error) {
	year, week := monday.ISOWeek()
	r, ok, err := s.run(ctx, "WHERE id = (SELECT max(run) FROM letters WHERE purpose LIKE ?) ", fmt.Sprintf("weekly/%d-W%02d/%%", year, week))
	if ok || err != nil {
		return r, ok, err
	}
	return s.run(ctx, "WHERE as_of >= ? AND as_of < ? ", monday.String(), (monday + forecast.Week).String())
}

// RunWeeks gives the Mondays of the weeks that runs are kept of, oldest first.
func (s *Store) RunWeeks(ctx context.Context) ([]forecast.Date, error) {
	var days []string
	if err := s.r.SelectContext(ctx, &days, "SELECT DISTINCT as_of FROM runs ORDER BY as_of"); err != nil {
		return nil, wrap(err)
	}
	var mondays []forecast.Date
	for _, text := range days {
		day, err := forecast.ParseDate(text)
		if err != nil {
			return nil, wrap(err)
		}
		mondays = append(mondays, day.Monday())
	}
	return slices.Compact(mondays), nil
}

// RunsOfWeeks gives, of each week that runs are kept of, the newest of its last
// day that has one, as of days from one to another, both included; oldest first.
func (s *Store) RunsOfWeeks(ctx context.Context, from, until forecast.Date) ([]Run, error) {
	var newest []struct {
		AsOf string `db:"as_of"`
		ID   int64
	}
	if err := s.r.SelectContext(ctx, &newest, "SELECT as_of, max(id) AS id FROM runs WHERE as_of >= ? AND as_of <= ? GROUP BY as_of ORDER BY as_of", from.String(), until.String()); err != nil {
		return nil, wrap(err)
	}
	var ids []any
	var week forecast.Date
	for _, n := range newest {
		day, err := forecast.ParseDate(n.AsOf)
		if err != nil {
			return nil, wrap(err)
		}
		if monday := day.Monday(); ids == nil || monday != week {
			ids, week = append(ids, n.ID), monday
		} else {
			ids[len(ids)-1] = n.ID
		}
	}
	if ids == nil {
		return nil, nil
	}
	return s.runs(ctx, "WHERE id IN (?"+strings.Repeat(", ?", len(ids)-1)+") ORDER BY as_of", ids...)
}

// LatestRunID gives the newest run's id, 0 if there is none.
func (s *Store) LatestRunID(ctx context.Context) (int64, error) {
	var id int64
	err := s.r.GetContext(ctx, &id, "SELECT coalesce(max(id), 0) FROM runs")
	return id, wrap(err)
}

func (s *Store) run(ctx context.Context, where string, args ...any) (Run, bool, error) {
	all, err := s.runs(ctx, where+"ORDER BY id DESC LIMIT 1", args...)
	if err != nil || len(all) == 0 {
		return Run{}, false, err
	}
	return all[0], true, nil
}

func (s *Store) runs(ctx context.Context, which string, args ...any) ([]Run, error) {
	var rows []struct {
		ID        int64
		AsOf      string `db:"as_of"`
		Seed      int64
		Weeks     int
		Version   string
		DataUntil string `db:"data_until"`
		MadeAt    string `db:"made_at"`
		Report    string
		Basis     string
	}
	if err := s.r.SelectContext(ctx, &rows, "SELECT id, as_of, seed, weeks, version, data_until, made_at, report, basis FROM runs "+which, args...); err != nil {
		return nil, wrap(err)
	}
	out := make([]Run, len(rows))
	for i, row := range rows {
		r := Run{ID: row.ID, Seed: uint64(row.Seed), Weeks: row.Weeks, Version: row.Version, MadeAt: row.MadeAt, Report: []byte(row.Report)}
		err := json.Unmarshal([]byte(row.Basis), &r.Basis)
		if err == nil {
			r.AsOf, err = forecast.ParseDate(row.AsOf)
		}
		if err == nil {
			r.DataUntil, err = forecast.ParseDate(row.DataUntil)
		}
		if err != nil {
			return nil, wrap(err)
		}
		out[i] = r
	}
	return out, nil
}
