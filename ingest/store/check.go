package store

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"freshet/ingest"

	"github.com/jmoiron/sqlx"
)

// A Health is what Check found: nothing in Faults means that every record is
// as it was taken in.
type Health struct {
	Faults  []string // the first MaxShown
	Records map[string]int
	Batches int
	Notes   int       // on alerts, those taken back too
	Backup  time.Time // the last one, zero if there was none
}

// SettingBackup names the setting that holds the time of the last backup, in
// RFC 3339.
const SettingBackup = "backup at"

// Check reads all of the database: whether SQLite finds its pages, indexes and
// references whole (PostgreSQL sees to its own), whether every record and its
// earlier versions still have the digest that they were taken in with, and
// whether the versions and rejects of each batch are all there, the notes on
// alerts as they were kept, and the weekly totals those of the records. It is an
// error only if the database can't be read.
func (s *Store) Check(ctx context.Context) (Health, error) {
	h, err := check(ctx, s.r)
	if err != nil {
		return h, err
	}
	at, err := s.Setting(ctx, SettingBackup, "")
	if err != nil || at == "" {
		return h, err
	}
	h.Backup, err = time.Parse(time.RFC3339, at)
	return h, wrap(err)
}

func check(ctx context.Context, db *sqlx.DB) (Health, error) {
	c := checker{ctx: ctx, h: Health{Records: map[string]int{}}, content: map[int64]hash{}}
	tx, err := db.BeginTxx(ctx, nil) // one state of the database throughout
	if err != nil {
		return c.h, wrap(err)
	}
	defer tx.Rollback()
	c.tx = tx
	parts := []func() error{c.records, c.history, c.rejects, c.batches, c.notes, c.weekly}
	if db.DriverName() == sqlite { // PostgreSQL's pages and references are its own to look after
		parts = append([]func() error{c.pages, c.references}, parts...)
	}
	for _, part := range parts {
		if err := part(); err != nil {
			return c.h, err
		}
	}
	return c.h, nil
}

// checker sums up what stands, batch by batch.
type checker struct {
	ctx     context.Context
	tx      *sqlx.Tx
	h       Health
	content map[int64]hash
}

func (c *checker) fault(format string, args ...any) {
	if len(c.h.Faults) < MaxShown {
		c.h.Faults = append(c.h.Faults, fmt.Sprintf(format, args...))
	}
}

func (c *checker) add(batch int64, h hash) {
	sum := c.content[batch]
	sum.with(h)
	c.content[batch] = sum
}

func (c *checker) pages() error {
	var found []string
	if err := c.tx.SelectContext(c.ctx, &found, "PRAGMA integrity_check"); err != nil {
		return wrap(err)
	}
	for _, f := range found {
		if f != "ok" {
			c.fault("damaged: %s", f)
		}
	}
	return nil
}

func (c *checker) references() error {
	return c.each("PRAGMA foreign_key_check", func(v []any) error {
		c.fault("a row of %v is of no batch", v[0])
		return nil
	})
}

// each reads rows of values as the driver gives them.
func (c *checker) each(query string, f func([]any) error, args ...any) error {
	rows, err := c.tx.QueryContext(c.ctx, query, args...)
	if err != nil {
		return wrap(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return wrap(err)
	}
	values := make([]any, len(columns))
	scan := into(values)
	for rows.Next() {
		if err := rows.Scan(scan...); err != nil {
			return wrap(err)
		}
		if err := f(values); err != nil {
			return err
		}
	}
	return wrap(rows.Err())
}

// as gives a column's value. On a damaged page it may be of another type: then
// it is the zero, with which no digest is right.
func as[T any](v any) T {
	t, _ := v.(T)
	return t
}

func (c *checker) records() error {
	var text bytes.Buffer
	for _, kind := range ingest.RowKinds() {
		t := tables[kind]
		if err := c.each("SELECT key, digest, batch, "+strings.Join(t.columns, ", ")+" FROM "+t.name, func(v []any) error {
			text.Reset()
			encode(&text, v[3:])
			digest := digestOf(text.Bytes())
			if kept, _ := v[1].([]byte); !bytes.Equal(digest[:], kept) {
				c.fault("a record of %s is not what was taken in: %q", t.name, v[0])
			}
			c.h.Records[t.name]++
			c.add(as[int64](v[2]), versionHash(as[string](v[0]), digest[:]))
			return nil
		}); err != nil {
			return err
		}
	}
	return nil
}

// history adds the versions that later batches replaced. Those that an undone
// batch replaced stand again, and were met among the records.
func (c *checker) history() error {
	return c.each("SELECT key, earlier, record FROM history JOIN batches ON batches.id = history.batch WHERE undone_at IS NULL", func(v []any) error {
		digest := digestOf(as[[]byte](v[2]))
		c.add(as[int64](v[1]), versionHash(as[string](v[0]), digest[:]))
		return nil
	})
}

func (c *checker) rejects() error {
	return c.each("SELECT batch, line, column_, value, reason, row_ FROM rejects", func(v []any) error {
		c.add(as[int64](v[0]), rejectHash(as[int64](v[1]), as[string](v[2]), as[string](v[3]), as[string](v[4]), as[string](v[5])))
		return nil
	})
}

// weekly takes the totals that are kept from those of the records: what is left
// on either side doesn't fit.
func (c *checker) weekly() error {
	totals := map[weekKind]weekly{}
	if err := c.each(byDay, func(v []any) error {
		if err := addDay(totals, as[string](v[0]), as[string](v[1]), as[int64](v[2])); err != nil {
			c.fault("a record's day of drop-off is none: %q", v[0])
		}
		return nil
	}); err != nil {
		return err
	}
	wrong := map[weekKind]bool{}
	if err := c.each("SELECT monday, kind, lines, first, last FROM weekly", func(v []any) error {
		of := weekKind{as[string](v[0]), as[string](v[1])}
		if totals[of] != (weekly{as[int64](v[2]), as[string](v[3]), as[string](v[4])}) {
			wrong[of] = true
		}
		delete(totals, of)
		return nil
	}); err != nil {
		return err
	}
	for of := range totals {
		wrong[of] = true
	}
	byWeek := func(a, b weekKind) int {
		return cmp.Or(strings.Compare(a.monday, b.monday), strings.Compare(a.kind, b.kind))
	}
	for _, of := range slices.SortedFunc(maps.Keys(wrong), byWeek) {
		c.fault("the total of the week of %s doesn't fit its records: %s", of.monday, of.kind)
	}
	return nil
}

func (c *checker) batches() error {
	if err := c.each("SELECT id, file, taken_in, content, undone_at FROM batches ORDER BY id", func(v []any) error {
		id := as[int64](v[0])
		sum := c.content[id]
		delete(c.content, id)
		if v[4] != nil {
			return nil
		}
		c.h.Batches++
		kept, _ := v[3].([]byte) // nil: taken in before there were any
		if v[3] != nil && !slices.Equal(kept, sum[:]) {
			c.fault("the records are not all there as %s, taken in at %s, left them", v[1], v[2])
		}
		return nil
	}); err != nil {
		return err
	}
	for _, id := range slices.Sorted(maps.Keys(c.content)) {
		c.fault("records are of import %d, which is not there", id)
	}
	return nil
}
