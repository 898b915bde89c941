package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"freshet/forecast"
	"freshet/ingest"

	"github.com/jmoiron/sqlx"
)

// Rows is what a file yields: ingest's Reader.
type Rows interface {
	Next() bool
	Record() ingest.Record
	Warnings() []error
	Reject() *ingest.RowError
	Cells() []string
	Err() error
}

// Batch is the account of one file taken in. Every data row is counted in
// exactly one of Added, Updated, Unchanged and Rejected; Warned counts the
// rows taken with a doubt.
type Batch struct {
	ID        int64
	File      string
	Kind      ingest.RowKind
	SHA256    string
	TakenIn   time.Time
	Rows      int
	Added     int
	Updated   int
	Unchanged int
	Warned    int
	Rejected  int
	Rejects   []*ingest.RowError // the first MaxShown
	Warnings  []error            // the first MaxShown
}

// MaxShown is how many rejects and warnings a Batch carries; the database
// keeps all rejects.
const MaxShown = 100

// Import takes in a file as one transaction: a row that is new is added, one
// that differs from what is known under its key updated, a bad one kept with
// its reason. If rows end with an error, nothing is changed. b gives File,
// Kind, SHA256 and TakenIn; progress, if not nil, is told the rows done now and
// then.
func (s *Store) Import(ctx context.Context, b Batch, rows Rows, progress func(rows int)) (Batch, error) {
	err := s.within(ctx, func(tx *sqlx.Tx) error {
		t, err := newTaker(tx, b)
		if err != nil {
			return err
		}
		for rows.Next() {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := t.take(rows); err != nil {
				return err
			}
			if progress != nil && t.b.Rows%5000 == 0 {
				progress(t.b.Rows)
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
		b = t.b
		return t.close()
	})
	return b, err
}

// taker is one import in progress.
type taker struct {
	b      Batch
	tx     *sqlx.Tx
	table  table
	find   *sql.Stmt
	put    *sql.Stmt
	reject *sql.Stmt
	digest [sha256.Size]byte
	text   bytes.Buffer
	args   []any
}

// table says how records of one kind are laid out: the columns after key, in
// the order in which values gives them.
type table struct {
	name    string
	columns []string
	values  func([]any, ingest.Record) []any
}

var tables = map[ingest.RowKind]table{
	ingest.DropOffs: {"job_lines", []string{"ro", "dropped_off", "kind", "unit", "quoted", "clocked", "billed", "parts_wait",
		"emergency", "deferrable_", "comeback_of", "promised", "ready", "picked_up", "status", "note"},
		func(a []any, r ingest.Record) []any {
			d := r.(*ingest.DropOff)
			return append(a, d.RO, d.DroppedOff.String(), d.Kind, d.Unit, float(d.QuotedHours), float(d.ClockedHours), float(d.BilledHours), float(d.PartsWaitDays),
				bit(d.Emergency), bit(d.Deferrable), d.ComebackOf, day(d.Promised), day(d.Ready), day(d.PickedUp), d.Status, d.Note)
		}},
	ingest.Crew: {"crew", []string{"name", "weekly_hours", "productivity", "skills", "from_", "until", "hourly_cost"},
		func(a []any, r ingest.Record) []any {
			p := r.(*ingest.Person)
			skills := "all"
			if p.Skills != nil {
				skills = strings.Join(p.Skills, ";")
			}
			return append(a, p.Name, p.WeeklyHours, float(p.Productivity), skills, day(p.From), day(p.Until), float(p.HourlyCost))
		}},
	ingest.TimeOff: {"absences", []string{"name", "from_", "until"},
		func(a []any, r ingest.Record) []any {
			o := r.(*ingest.Absence)
			return append(a, o.Name, o.From.String(), o.Until.String())
		}},
	ingest.Events: {"events", []string{"name", "from_", "until", "effect"},
		func(a []any, r ingest.Record) []any {
			e := r.(*ingest.Event)
			return append(a, e.Name, e.From.String(), e.Until.String(), string(e.Effect))
		}},
}

func float(o ingest.Opt[float64]) any {
	if !o.Valid {
		return nil
	}
	return o.V
}

func day(o ingest.Opt[forecast.Date]) any {
	if !o.Valid {
		return nil
	}
	return o.V.String()
}

func bit(o ingest.Opt[bool]) any {
	if o.Valid && o.V {
		return int64(1)
	}
	return int64(0)
}

func newTaker(tx *sqlx.Tx, b Batch) (*taker, error) {
	t := &taker{b: b, tx: tx}
	var ok bool
	if t.table, ok = tables[b.Kind]; !ok {
		return nil, fmt.Errorf("store: need a known kind of rows, have %q", b.Kind)
	}
	r, err := tx.Exec(`INSERT INTO batches(file, kind, sha256, taken_in, row_count, added, updated, unchanged, warned, rejected)
		VALUES(?, ?, ?, ?, 0, 0, 0, 0, 0, 0)`, b.File, b.Kind, b.SHA256, b.TakenIn.UTC().Format(time.RFC3339))
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	if t.b.ID, err = r.LastInsertId(); err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	columns := append([]string{"key"}, t.table.columns...)
	columns = append(columns, "digest", "batch")
	sets := make([]string, 0, len(columns))
	for _, c := range columns[1:] {
		sets = append(sets, c+" = excluded."+c)
	}
	for q, into := range map[string]**sql.Stmt{
		"SELECT digest FROM " + t.table.name + " WHERE key = ?": &t.find,
		"INSERT INTO " + t.table.name + "(" + strings.Join(columns, ", ") + ") VALUES(?" + strings.Repeat(", ?", len(columns)-1) +
			") ON CONFLICT(key) DO UPDATE SET " + strings.Join(sets, ", "): &t.put,
		"INSERT INTO rejects(batch, line, column_, value, reason, row_) VALUES(?, ?, ?, ?, ?, ?)": &t.reject,
	} {
		if *into, err = tx.Prepare(q); err != nil {
			return nil, fmt.Errorf("store: %w", err)
		}
	}
	return t, nil
}

func (t *taker) take(rows Rows) error {
	t.b.Rows++
	if bad := rows.Reject(); bad != nil {
		t.b.Rejected++
		if len(t.b.Rejects) < MaxShown {
			t.b.Rejects = append(t.b.Rejects, bad)
		}
		t.text.Reset()
		w := csv.NewWriter(&t.text)
		w.Write(rows.Cells())
		w.Flush()
		_, err := t.reject.Exec(t.b.ID, bad.Line, bad.Column, bad.Value, bad.Reason, strings.TrimSuffix(t.text.String(), "\n"))
		return wrap(err)
	}
	if doubts := rows.Warnings(); len(doubts) > 0 {
		t.b.Warned++
		t.b.Warnings = append(t.b.Warnings, doubts[:min(len(doubts), MaxShown-len(t.b.Warnings))]...)
	}
	record := rows.Record()
	key := record.Key()
	t.args = t.table.values(append(t.args[:0], key), record)
	t.text.Reset()
	t.digest = digest(&t.text, t.args[1:])
	var known []byte
	switch err := t.find.QueryRow(key).Scan(&known); {
	case errors.Is(err, sql.ErrNoRows):
		t.b.Added++
	case err != nil:
		return wrap(err)
	case bytes.Equal(known, t.digest[:]):
		t.b.Unchanged++
		return nil
	default:
		t.b.Updated++
	}
	_, err := t.put.Exec(append(t.args, t.digest[:], t.b.ID)...)
	return wrap(err)
}

// digest tells two versions of a record apart. Each value is marked with its
// type and its length, so that no two records write the same text.
func digest(text *bytes.Buffer, values []any) [sha256.Size]byte {
	var b [32]byte
	for _, v := range values {
		switch v := v.(type) {
		case nil:
			text.WriteByte('-')
		case int64:
			text.WriteByte('i')
			text.Write(strconv.AppendInt(b[:0], v, 10))
		case float64:
			text.WriteByte('f')
			text.Write(strconv.AppendFloat(b[:0], v, 'g', -1, 64))
		case string:
			text.WriteByte('s')
			text.Write(strconv.AppendInt(b[:0], int64(len(v)), 10))
			text.WriteByte(':')
			text.WriteString(v)
		default:
			panic(fmt.Sprintf("store: no digest of a %T", v))
		}
		text.WriteByte(0)
	}
	return sha256.Sum256(text.Bytes())
}

func (t *taker) close() error {
	_, err := t.tx.Exec("UPDATE batches SET row_count = ?, added = ?, updated = ?, unchanged = ?, warned = ?, rejected = ? WHERE id = ?",
		t.b.Rows, t.b.Added, t.b.Updated, t.b.Unchanged, t.b.Warned, t.b.Rejected, t.b.ID)
	return wrap(err)
}

func wrap(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("store: %w", err)
}

// Hash gives the form in which a file's SHA-256 is kept.
func Hash(sum []byte) string { return hex.EncodeToString(sum) }

// Batches gives the last files taken in, newest first.
func (s *Store) Batches(ctx context.Context, most int) ([]Batch, error) {
	var rows []struct {
		ID                                          int64
		File, Kind, SHA256                          string
		TakenIn                                     string `db:"taken_in"`
		Rows                                        int    `db:"row_count"`
		Added, Updated, Unchanged, Warned, Rejected int
	}
	err := s.r.SelectContext(ctx, &rows, "SELECT id, file, kind, sha256, taken_in, row_count, added, updated, unchanged, warned, rejected FROM batches ORDER BY id DESC LIMIT ?", most)
	if err != nil {
		return nil, wrap(err)
	}
	out := make([]Batch, len(rows))
	for i, r := range rows {
		at, err := time.Parse(time.RFC3339, r.TakenIn)
		if err != nil {
			return nil, wrap(err)
		}
		out[i] = Batch{ID: r.ID, File: r.File, Kind: ingest.RowKind(r.Kind), SHA256: r.SHA256, TakenIn: at,
			Rows: r.Rows, Added: r.Added, Updated: r.Updated, Unchanged: r.Unchanged, Warned: r.Warned, Rejected: r.Rejected}
	}
	return out, nil
}

// Rejected is a row that could not be taken, with the file it stood in.
type Rejected struct {
	File          string
	Line          int
	Column        string `db:"column_"`
	Value, Reason string
}

// Rejects gives the last rejected rows, those of the newest file first.
func (s *Store) Rejects(ctx context.Context, most int) ([]Rejected, error) {
	var out []Rejected
	err := s.r.SelectContext(ctx, &out, `SELECT file, line, column_, value, reason FROM rejects JOIN batches ON batches.id = rejects.batch
		ORDER BY batch DESC, line LIMIT ?`, most)
	return out, wrap(err)
}

// Layout gives the layout that was confirmed for a file with these headers,
// and false if none was.
func (s *Store) Layout(ctx context.Context, signature string, into *ingest.Layout) (bool, error) {
	var text string
	err := s.r.GetContext(ctx, &text, "SELECT layout FROM layouts WHERE signature = ?", signature)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, wrap(err)
	}
	return true, wrap(json.Unmarshal([]byte(text), into))
}

// KeepLayout remembers a confirmed layout.
func (s *Store) KeepLayout(ctx context.Context, signature string, l ingest.Layout) error {
	text, err := json.Marshal(l)
	if err != nil {
		return wrap(err)
	}
	return s.within(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.Exec(`INSERT INTO layouts(signature, kind, layout) VALUES(?, ?, ?)
			ON CONFLICT(signature) DO UPDATE SET kind = excluded.kind, layout = excluded.layout`, signature, l.Kind, string(text))
		return wrap(err)
	})
}
