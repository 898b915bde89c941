package store

import (
	"context"
	"database/sql"
	"errors"
	"strings"

	"freshet/forecast"
	"freshet/ingest"

	"github.com/jmoiron/sqlx"
)

// Line is what forecasts need of a job line.
type Line struct {
	DroppedOff              forecast.Date
	Kind                    string // the group's name
	Ready                   sql.Null[forecast.Date]
	Quoted, Clocked, Billed sql.Null[float64]
}

// Lines calls each for every job line dropped off before asOf, in order of
// drop-off. A line that was not ready before asOf has no ready day and no
// hours but the quoted ones.
func (s *Store) Lines(ctx context.Context, asOf forecast.Date, each func(Line)) error {
	grouping, err := s.groups(ctx)
	if err != nil {
		return err
	}
	rows, err := s.r.QueryContext(ctx, `SELECT dropped_off, kind, coalesce(ready, picked_up), quoted, clocked, billed
		FROM job_lines WHERE dropped_off < ? ORDER BY dropped_off, kind, key`, asOf.String())
	if err != nil {
		return wrap(err)
	}
	defer rows.Close()
	kinds := map[string]string{} // one string a kind, not one a line
	days := dayTexts{}
	for rows.Next() {
		var l Line
		var day, kind, ready sql.RawBytes
		if err := rows.Scan(&day, &kind, &ready, &l.Quoted, &l.Clocked, &l.Billed); err != nil {
			return wrap(err)
		}
		in, err := days.of(day)
		if err != nil {
			return wrap(err)
		}
		l.DroppedOff = in.V
		if l.Ready, err = days.of(ready); err != nil {
			return wrap(err)
		}
		k, ok := kinds[string(kind)]
		if !ok {
			k = grouping.of(string(kind))
			kinds[string(kind)] = k
		}
		l.Kind = k
		if l.Ready.V >= asOf {
			l.Ready = sql.Null[forecast.Date]{}
		}
		if !l.Ready.Valid {
			l.Clocked, l.Billed = sql.Null[float64]{}, sql.Null[float64]{}
		}
		each(l)
	}
	return wrap(rows.Err())
}

// dayTexts remembers the days of texts: many lines share few, and reading one is
// the dearer part of reading a line.
type dayTexts map[string]forecast.Date

// of gives the day of a text, none of nil.
func (d dayTexts) of(text sql.RawBytes) (sql.Null[forecast.Date], error) {
	if text == nil {
		return sql.Null[forecast.Date]{}, nil
	}
	if day, ok := d[string(text)]; ok {
		return sql.Null[forecast.Date]{V: day, Valid: true}, nil
	}
	day, err := forecast.ParseDate(string(text))
	if err == nil {
		d[string(text)] = day
	}
	return sql.Null[forecast.Date]{V: day, Valid: true}, err
}

// Job is a job line as it was known on a day. Hours that were not on record,
// and days that had not come, are not valid.
type Job struct {
	Key                          string // of the job line
	RO, Kind, Unit, Status, Note string
	DroppedOff                   forecast.Date
	Ready, PickedUp              sql.Null[forecast.Date] // Ready is PickedUp where it isn't on record itself
	Promised                     sql.Null[forecast.Date]
	Quoted, Clocked, Billed      sql.Null[float64]
	PartsWait                    sql.Null[float64] // days
	Emergency, Deferrable        bool
	ComebackOf                   string
}

const jobColumns = `key, ro, kind, unit, status, note, dropped_off, coalesce(ready, picked_up), picked_up, promised, quoted, clocked, billed, parts_wait, emergency, deferrable_, comeback_of`

func (s *Store) jobs(ctx context.Context, where string, args ...any) ([]Job, error) {
	grouping, err := s.groups(ctx)
	if err != nil {
		return nil, err
	}
	rows, err := s.r.QueryContext(ctx, "SELECT "+jobColumns+" FROM job_lines WHERE "+where+" ORDER BY dropped_off, key", args...)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []Job
	days := dayTexts{}
	for rows.Next() {
		var j Job
		var day, ready, pickedUp, promised sql.RawBytes
		if err := rows.Scan(&j.Key, &j.RO, &j.Kind, &j.Unit, &j.Status, &j.Note, &day, &ready, &pickedUp, &promised, &j.Quoted, &j.Clocked, &j.Billed, &j.PartsWait, &j.Emergency, &j.Deferrable, &j.ComebackOf); err != nil {
			return nil, wrap(err)
		}
		j.Kind = grouping.of(j.Kind)
		in, err := days.of(day)
		if err != nil {
			return nil, wrap(err)
		}
		j.DroppedOff = in.V
		for _, d := range [...]struct {
			text sql.RawBytes
			into *sql.Null[forecast.Date]
		}{{ready, &j.Ready}, {pickedUp, &j.PickedUp}, {promised, &j.Promised}} {
			if *d.into, err = days.of(d.text); err != nil {
				return nil, wrap(err)
			}
		}
		out = append(out, j)
	}
	return out, wrap(rows.Err())
}

// Orders gives the job lines of repair orders, as they stand.
func (s *Store) Orders(ctx context.Context, numbers ...string) ([]Job, error) {
	if len(numbers) == 0 {
		return nil, nil
	}
	list := make([]any, len(numbers))
	for i, n := range numbers {
		list[i] = n
	}
	return s.jobs(ctx, "ro IN (?"+strings.Repeat(", ?", len(list)-1)+")", list...)
}

// Open gives the jobs that were dropped off on or after since and before asOf
// and not ready then, in order of drop-off. What is known to have been learned
// later is left out: the day they became ready, their hours and status then, and
// how long a part was waited for that hadn't come.
// Of a job that still isn't ready, hours and status are the newest on record.
func (s *Store) Open(ctx context.Context, since, asOf forecast.Date) ([]Job, error) {
	out, err := s.jobs(ctx, "dropped_off >= ? AND dropped_off < ? AND (coalesce(ready, picked_up) IS NULL OR coalesce(ready, picked_up) >= ?)", since.String(), asOf.String(), asOf.String())
	for i := range out {
		out[i].knownOn(asOf)
	}
	return out, err
}

// WaitingForParts is the status that Open gives a job whose part had not come.
const WaitingForParts = "waiting for parts"

// Person is one spell of a person on the crew, as ingest reads it.
type Person = ingest.Person

// Absences gives all time off and closed days, in order.
func (s *Store) Absences(ctx context.Context) ([]ingest.Absence, error) {
	var out []ingest.Absence
	err := s.spells(ctx, "SELECT name, from_, until, '' FROM absences ORDER BY from_, key", func(name string, from, until forecast.Date, _ string) {
		out = append(out, ingest.Absence{Name: name, From: from, Until: until})
	})
	return out, err
}

// Events gives all events, in order.
func (s *Store) Events(ctx context.Context) ([]ingest.Event, error) {
	var out []ingest.Event
	err := s.spells(ctx, "SELECT name, from_, until, effect FROM events ORDER BY from_, key", func(name string, from, until forecast.Date, effect string) {
		out = append(out, ingest.Event{Name: name, From: from, Until: until, Effect: ingest.Effect(effect)})
	})
	return out, err
}

func (s *Store) spells(ctx context.Context, query string, add func(name string, from, until forecast.Date, effect string)) error {
	rows, err := s.r.QueryContext(ctx, query)
	if err != nil {
		return wrap(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name, from, until, effect string
		if err := rows.Scan(&name, &from, &until, &effect); err != nil {
			return wrap(err)
		}
		f, err := forecast.ParseDate(from)
		if err != nil {
			return wrap(err)
		}
		u, err := forecast.ParseDate(until)
		if err != nil {
			return wrap(err)
		}
		add(name, f, u, effect)
	}
	return wrap(rows.Err())
}

// Setting gives the value kept under name, or fallback.
func (s *Store) Setting(ctx context.Context, name, fallback string) (string, error) {
	var v string
	err := s.r.GetContext(ctx, &v, "SELECT value FROM settings WHERE name = ?", name)
	if errors.Is(err, sql.ErrNoRows) {
		return fallback, nil
	}
	return v, wrap(err)
}

// Settings gives the values kept under names that begin so, by the rest of
// them.
func (s *Store) Settings(ctx context.Context, begin string) (map[string]string, error) {
	var rows []struct{ Name, Value string }
	if err := s.r.SelectContext(ctx, &rows, "SELECT name, value FROM settings"); err != nil {
		return nil, wrap(err)
	}
	out := map[string]string{}
	for _, r := range rows {
		if rest, ok := strings.CutPrefix(r.Name, begin); ok {
			out[rest] = r.Value
		}
	}
	return out, nil
}

// Set keeps value under name.
func (s *Store) Set(ctx context.Context, name, value string) error {
	return s.within(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.Exec("INSERT INTO settings(name, value) VALUES(?, ?) ON CONFLICT(name) DO UPDATE SET value = excluded.value", name, value)
		return wrap(err)
	})
}

// Jobs gives the jobs dropped off on or after since and before asOf, in order
// of drop-off, as they were known on asOf: those not ready by then are open,
// without what was learned later.
func (s *Store) Jobs(ctx context.Context, since, asOf forecast.Date) ([]Job, error) {
	out, err := s.jobs(ctx, "dropped_off >= ? AND dropped_off < ?", since.String(), asOf.String())
	for i := range out {
		out[i].knownOn(asOf)
	}
	return out, err
}

// knownOn takes back what was learned on a day or later.
func (j *Job) knownOn(asOf forecast.Date) {
	arrived := j.DroppedOff + forecast.Date(j.PartsWait.V)
	late := j.PartsWait.Valid && arrived >= asOf
	if j.PickedUp.Valid && j.PickedUp.V >= asOf {
		j.PickedUp = sql.Null[forecast.Date]{}
	}
	if j.Ready.Valid && j.Ready.V >= asOf { // finished since: its present status and hours came later
		j.Ready, j.Status, j.Clocked, j.Billed = sql.Null[forecast.Date]{}, "", sql.Null[float64]{}, sql.Null[float64]{}
		if late {
			j.Status = WaitingForParts
		}
	}
	if late {
		j.PartsWait = sql.Null[float64]{}
	}
}
