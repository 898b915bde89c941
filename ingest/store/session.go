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
	prepareOn func(query string) (prepared, error)
	postgres  bool
	stmts     []*statement
}

// prepared is a statement as a driver has it. Arguments that are missing are
// NULL.
type prepared interface {
	driver.StmtExecContext
	driver.StmtQueryContext
	Close() error
}

// A statement is a prepared one with room for its arguments.
type statement struct {
	s       prepared
	args    []driver.NamedValue
	columns []string // of the rows that it gave last
}

// session runs f in a write transaction, and undoes all of it if f fails.
func (s *Store) session(ctx context.Context, f func(*session) error) error {
	return s.writing(ctx, func(conn *sqlx.Conn) error {
		return conn.Raw(func(c any) error { return transact(c.(driver.ConnBeginTx), f) })
	})
}

// attempting is session, for an f that makes attempts. SQLite then keeps in
// memory the pages that it needs to take one back, rather than in a file that
// grows with each.
func (s *Store) attempting(ctx context.Context, f func(*session) error) error {
	if s.group != nil {
		return s.session(ctx, f)
	}
	return s.writing(ctx, func(conn *sqlx.Conn) (err error) {
		keep := func(where string) error {
			_, err := conn.ExecContext(context.Background(), "PRAGMA temp_store = "+where)
			return wrap(err)
		}
		if err := keep("memory"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, keep("default")) }() // sorting has use for files
		return conn.Raw(func(c any) error { return transact(c.(driver.ConnBeginTx), f) })
	})
}

func transact(c driver.ConnBeginTx, f func(*session) error) (err error) {
	t := sessionOn(c)
	defer func() {
		for _, st := range t.stmts {
			err = errors.Join(err, wrap(st.s.Close()))
		}
	}()
	tx, err := c.BeginTx(context.Background(), driver.TxOptions{}) // an immediate one
	if err != nil {
		return wrap(err)
	}
	under := true
	defer func() { // after a panic of f too
		// Some faults, a full disk among them, have ended SQLite's already.
		if ended, ok := c.(interface{ AutoCommit() bool }); under && !(ok && ended.AutoCommit()) {
			err = errors.Join(err, wrap(tx.Rollback()))
		}
	}()
	if err := f(t); err != nil {
		return err
	}
	reached("commit")
	under = false // a commit that fails rolls back
	if err := tx.Commit(); err != nil {
		return failedCommit{wrap(err)}
	}
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
	s, err := t.prepareOn(query)
	if err != nil {
		return nil, wrap(err)
	}
	st := &statement{s: s}
	t.stmts = append(t.stmts, st)
	return st, nil
}

// attempt runs f, a statement that does all or nothing, and tells whether a key
// of it is on record already. SQLite takes such a statement back by itself, while
// PostgreSQL has to be told where to go back to.
func (t *session) attempt(f func() error) (known bool, err error) {
	if t.postgres { // whose transaction an error ends, unless there is a savepoint
		if err := t.exec("SAVEPOINT attempt"); err != nil {
			return false, err
		}
	}
	switch err = f(); {
	case onRecord(err) && t.postgres:
		return true, t.exec("ROLLBACK TO attempt")
	case onRecord(err):
		return true, nil
	case err == nil && t.postgres:
		return false, t.exec("RELEASE attempt")
	}
	return false, err
}

// onRecord tells whether err is that a key is there already.
func onRecord(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.ExtendedCode == sqlite3.ErrConstraintUnique || e.ExtendedCode == sqlite3.ErrConstraintPrimaryKey) || stateOf(err) == uniqueViolation
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
	st.add(args)
	return st.run(f)
}

// add puts arguments after those that are there, for run.
func (st *statement) add(args []any) {
	for _, a := range args {
		st.args = append(st.args, driver.NamedValue{Ordinal: len(st.args) + 1, Value: a})
	}
}

// run is each with the arguments that are there.
func (st *statement) run(f func(values []driver.Value) error) error {
	rows, err := st.s.QueryContext(context.Background(), st.args)
	if err != nil {
		return wrap(err)
	}
	defer rows.Close()
	st.columns = rows.Columns()
	values := make([]driver.Value, len(st.columns))
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

// wrap says whose error it is, in plain words where the database's aren't.
func wrap(err error) error {
	if err == nil {
		return nil
	}
	if said := plainly(err); said != "" {
		return fmt.Errorf("store: %s: %w", said, err)
	}
	return fmt.Errorf("store: %w", err)
}

func plainly(err error) string {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		return plainlyOfGroup(err)
	}
	switch e.Code {
	case sqlite3.ErrBusy:
		return "another freshet is writing to this database; try again when it is done"
	case sqlite3.ErrFull:
		return "the disk is full, make room on it"
	case sqlite3.ErrCorrupt, sqlite3.ErrNotADB:
		return "the database is damaged; 'freshet restore' brings back a backup"
	case sqlite3.ErrReadonly:
		return "the database can't be written to: is its disk, folder or file write-protected?"
	case sqlite3.ErrCantOpen:
		return "the database can't be opened: is its folder there, and are you allowed to write in it?"
	case sqlite3.ErrIoErr:
		return "the disk doesn't work as it should"
	}
	return ""
}

// reached is told the phases of a write, so that tests can break off there.
var reached = func(phase string) {}
