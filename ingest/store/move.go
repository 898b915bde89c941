package store

import (
	"bytes"
	"context"
	"database/sql/driver"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"
)

// movable are a shop's tables, each after those that it refers to.
var movable = []string{"settings", "batches", "rejects", "layouts", "job_lines", "crew", "absences", "events", "runs", "history",
	"kind_steps", "kind_words", "kind_undos", "quotes", "passphrases", "sessions", "guesses", "changes", "letters",
	"notes", "note_undos", "folder_files", "failures", "weekly", "mends"}

// A MovedTable says what of a table was moved: how many rows, and a hash over
// them in any order, in hex.
type MovedTable struct {
	Table string `json:"table"`
	Rows  int    `json:"rows"`
	Hash  string `json:"sha256"`
}

// NotEmpty is the error of a move into a store that holds something.
type NotEmpty struct {
	Path, Table string
	Rows        int
}

func (e *NotEmpty) Error() string {
	return fmt.Sprintf("store: need an empty database to move into, have %s with %d rows of %s", e.Path, e.Rows, e.Table)
}

// Move copies all that one store holds, as of one moment, into another, which
// must be empty: from SQLite to PostgreSQL, back, or to one of the same kind. It
// is one transaction, and ends only once the copy was read back and has the
// same number of rows in each table and the same hash over them; after any error
// the other store is as empty as before. The first store is left as it is.
// progress, if not nil, is told the table and its rows done now and then. The
// error of a store that isn't empty is a *NotEmpty.
func Move(ctx context.Context, from, to *Store, progress func(table string, rows int)) ([]MovedTable, error) {
	in, err := from.r.BeginTxx(ctx, nil)
	if err != nil {
		return nil, wrap(err)
	}
	defer in.Rollback()
	moved := make([]MovedTable, len(movable))
	return moved, to.session(ctx, func(tx *session) error {
		for _, name := range movable {
			if have, err := tally(tx, name); err != nil {
				return err
			} else if have.Rows > 0 {
				return &NotEmpty{to.path, name, have.Rows}
			}
		}
		for i, name := range movable {
			tell := func(rows int) {
				if progress != nil {
					progress(name, rows)
				}
			}
			if moved[i], err = moveTable(ctx, in, tx, name, tell); err != nil {
				return err
			}
			if have, err := tally(tx, name); err != nil {
				return err
			} else if have != moved[i] {
				return fmt.Errorf("store: need %d rows of %s with the hash %.8s, have %d with %.8s: has a text a character that %s has no place for? Nothing was moved", moved[i].Rows, name, moved[i].Hash, have.Rows, have.Hash, to.path)
			}
		}
		return tx.countOn()
	})
}

// atOnce is how many rows one statement writes.
const atOnce = 64

func moveTable(ctx context.Context, in *sqlx.Tx, tx *session, name string, progress func(rows int)) (MovedTable, error) {
	sum := sum{name: name}
	order := ""
	if name == "job_lines" { // the order in which they came
		order = " ORDER BY rowid"
	}
	rows, err := in.QueryContext(ctx, "SELECT * FROM "+name+order)
	if err != nil {
		return sum.table(), wrap(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return sum.table(), wrap(err)
	}
	known := slices.DeleteFunc(slices.Clone(columns), ofOneKind)
	// The same columns may stand in another order where they were added later.
	insert := "INSERT INTO " + name + "(" + strings.Join(known, ", ") + ") VALUES"
	one := "(?" + strings.Repeat(", ?", len(known)-1) + ")"
	many, err := tx.prepare(insert + one + strings.Repeat(", "+one, atOnce-1))
	if err != nil {
		return sum.table(), err
	}
	single, err := tx.prepare(insert + one)
	if err != nil {
		return sum.table(), err
	}
	values := make([]any, len(columns))
	scan := into(values)
	var waiting []any
	for rows.Next() {
		if err := rows.Scan(scan...); err != nil {
			return sum.table(), wrap(err)
		}
		row := make([]any, 0, len(known))
		for i, c := range columns {
			if !ofOneKind(c) {
				row = append(row, values[i])
			}
		}
		sum.add(known, row)
		if waiting = append(waiting, row...); len(waiting) == atOnce*len(known) {
			if err := many.each(nil, waiting...); err != nil {
				return sum.table(), err
			}
			waiting = waiting[:0]
			progress(sum.rows)
		}
	}
	if err := rows.Err(); err != nil {
		return sum.table(), wrap(err)
	}
	for row := range slices.Chunk(waiting, len(known)) {
		if err := single.each(nil, row...); err != nil {
			return sum.table(), err
		}
	}
	progress(sum.rows)
	return sum.table(), nil
}

// ofOneKind tells whether a column is one that only one kind of database shows.
func ofOneKind(column string) bool { return column == "rowid" }

// tally counts and hashes what a table of a session holds.
func tally(tx *session, name string) (MovedTable, error) {
	sum := sum{name: name}
	all, err := tx.prepare("SELECT * FROM " + name)
	if err != nil {
		return sum.table(), err
	}
	err = all.each(func(v []driver.Value) error {
		row := make([]any, len(v))
		for i := range v {
			row[i] = v[i]
		}
		sum.add(all.columns, row)
		return nil
	})
	return sum.table(), err
}

// A sum is over a table's rows, in any order, and their columns, in any order.
type sum struct {
	name string
	rows int
	hash hash
	text bytes.Buffer
}

func (s *sum) add(columns []string, values []any) {
	s.rows++
	order := make([]int, 0, len(columns))
	for i, c := range columns {
		if !ofOneKind(c) {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int { return strings.Compare(columns[a], columns[b]) })
	s.text.Reset()
	for _, i := range order {
		encode(&s.text, []any{columns[i], values[i]})
	}
	s.hash.with(digestOf(s.text.Bytes()))
}

func (s *sum) table() MovedTable { return MovedTable{s.name, s.rows, hex.EncodeToString(s.hash[:])} }
