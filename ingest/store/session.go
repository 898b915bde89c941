package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"

	"github.com/jmoiron/sqlx"
	"github.com/mattn/go-sqlite3"
)

// A session is the writer's own connection within one transaction. It goes
// past database/sql, which starts a goroutine for every query and copies every
// argument: an import makes a call a row.
type session struct {
	c     *sqlite3.SQLiteConn
	stmts []*statement
}

// A statement is a prepared one with room for its arguments.
type statement struct {
	s    *sqlite3.SQLiteStmt
	args []driver.NamedValue
}

// session runs f in a write transaction, and undoes all of it if f fails.
func (s *Store) session(ctx context.Context, f func(*session) error) error {
	return s.writing(ctx, func(conn *sqlx.Conn) error {
		return conn.Raw(func(c any) error { return transact(c.(*sqlite3.SQLiteConn), f) })
	})
}

// attempting is session, for an f that makes attempts. SQLite then keeps in
// memory the pages that it needs to take one back, rather than in a file that
// grows with each.
func (s *Store) attempting(ctx context.Context, f func(*session) error) error {
	return s.writing(ctx, func(conn *sqlx.Conn) (err error) {
		keep := func(where string) error {
			_, err := conn.ExecContext(context.Background(), "PRAGMA temp_store = "+where)
			return wrap(err)
		}
		if err := keep("memory"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, keep("default")) }() // sorting has use for files
		return conn.Raw(func(c any) error { return transact(c.(*sqlite3.SQLiteConn), f) })
	})
}

func transact(c *sqlite3.SQLiteConn, f func(*session) error) (err error) {
	t := &session{c: c}
	defer func() {
		for _, st := range t.stmts {
			err = errors.Join(err, wrap(st.s.Close()))
		}
	}()
	if err := t.exec("BEGIN IMMEDIATE"); err != nil {
		return err
	}
	committed := false
	defer func() { // after a panic of f too
		// Some faults, a full disk among them, have ended it already.
		if !committed && !t.c.AutoCommit() {
			err = errors.Join(err, t.exec("ROLLBACK"))
		}
	}()
	if err := f(t); err != nil {
		return err
	}
	reached("commit")
	if err := t.exec("COMMIT"); err != nil {
		return failedCommit{err}
	}
	committed = true
	reached("committed")
	return nil
}

// exec runs a statement once.
func (t *session) exec(query string, args ...any) error {
	st, err := t.prepare(query)
	if err != nil {
		return err
	}
	_, err = st.exec(args...)
	return err
}

// prepare gives a statement that lives as long as the session.
func (t *session) prepare(query string) (*statement, error) {
	s, err := t.c.Prepare(query)
	if err != nil {
		return nil, wrap(err)
	}
	st := &statement{s: s.(*sqlite3.SQLiteStmt)}
	t.stmts = append(t.stmts, st)
	return st, nil
}

// attempt runs f, a statement that does all or nothing, and tells whether a key
// of it is on record already. SQLite takes such a statement back by itself.
func (t *session) attempt(f func() error) (known bool, err error) {
	if err = f(); onRecord(err) {
		return true, nil
	}
	return false, err
}

// onRecord tells whether err is that a key is there already.
func onRecord(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.ExtendedCode == sqlite3.ErrConstraintUnique || e.ExtendedCode == sqlite3.ErrConstraintPrimaryKey)
}

// exec gives the number of rows changed.
func (st *statement) exec(args ...any) (int64, error) {
	st.args = st.args[:0]
	for i, a := range args {
		if a != nil { // as unbound ones are; a call less
			st.args = append(st.args, driver.NamedValue{Ordinal: i + 1, Value: a})
		}
	}
	r, err := st.s.ExecContext(context.Background(), st.args)
	if err != nil {
		return 0, wrap(err)
	}
	n, err := r.RowsAffected()
	return n, wrap(err)
}

// each calls f with every row that the statement gives. The values are valid
// until f returns. The driver hands over all arguments in one call here, and one
// by one in exec: a statement of hundreds that gives no rows goes this way too,
// with no f.
func (st *statement) each(f func(values []driver.Value) error, args ...any) error {
	st.args = st.args[:0]
	for i, a := range args {
		st.args = append(st.args, driver.NamedValue{Ordinal: i + 1, Value: a})
	}
	rows, err := st.s.QueryContext(context.Background(), st.args)
	if err != nil {
		return wrap(err)
	}
	defer rows.Close()
	values := make([]driver.Value, len(rows.Columns()))
	for {
		if err := rows.Next(values); err == io.EOF {
			return nil
		} else if err != nil {
			return wrap(err)
		}
		if err := f(values); err != nil {
			return err
		}
	}
}

// wrap says whose error it is, in plain words where SQLite's aren't.
func wrap(err error) error {
	if err == nil {
		return nil
	}
	var e sqlite3.Error
	if errors.As(err, &e) {
		switch e.Code {
		case sqlite3.ErrBusy:
			return fmt.Errorf("store: another freshet is writing to this database; try again when it is done: %w", err)
		case sqlite3.ErrFull:
			return fmt.Errorf("store: the disk is full, make room on it: %w", err)
		case sqlite3.ErrCorrupt, sqlite3.ErrNotADB:
			return fmt.Errorf("store: the database is damaged; 'freshet restore' brings back a backup: %w", err)
		case sqlite3.ErrReadonly:
			return fmt.Errorf("store: the database can't be written to: is its disk, folder or file write-protected? %w", err)
		case sqlite3.ErrCantOpen:
			return fmt.Errorf("store: the database can't be opened: is its folder there, and are you allowed to write in it? %w", err)
		case sqlite3.ErrIoErr:
			return fmt.Errorf("store: the disk doesn't work as it should: %w", err)
		}
	}
	return fmt.Errorf("store: %w", err)
}

// reached is told the phases of a write, so that tests can break off there.
var reached = func(phase string) {}
