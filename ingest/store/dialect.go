package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/mattn/go-sqlite3"
)

// The store's SQL is what SQLite and PostgreSQL both understand. What they do
// not share stands in this file, and in the functions that the first migration
// in migrations/postgres makes.

// sqlite names SQLite's driver.
const sqlite = "sqlite3"

// translate writes a query the way PostgreSQL has it, and counts its
// arguments: ? and ?2 become $1 and $2, and there are no hints.
func translate(query string) (string, int) {
	query = strings.ReplaceAll(query, " NOT INDEXED", "")
	var b strings.Builder
	n, quoted := 0, false
	for i := range len(query) {
		c := query[i]
		if c == '\'' {
			quoted = !quoted
		}
		if c != '?' || quoted {
			b.WriteByte(c)
			continue
		}
		b.WriteByte('$')
		if i+1 < len(query) && '1' <= query[i+1] && query[i+1] <= '9' { // one figure, as it stands
			n = max(n, int(query[i+1]-'0'))
			continue
		}
		n++
		b.WriteString(strconv.Itoa(n))
	}
	return b.String(), n
}

// A pgConn is a connection to PostgreSQL that understands the store's SQL.
type pgConn struct {
	*stdlib.Conn
	writes bool
}

// lockOfShop keeps a shop's writers apart, as SQLite does a file's: what is
// read within a writing transaction stays true until it ends.
const lockOfShop = "SELECT pg_advisory_xact_lock(hashtextextended('freshet writes ' || current_schema(), 0))"

// BeginTx begins a transaction that waits for its shop's writer to be done, or,
// to read, one that sees one state throughout.
func (c *pgConn) BeginTx(ctx context.Context, opts driver.TxOptions) (driver.Tx, error) {
	if !c.writes {
		opts.Isolation = driver.IsolationLevel(sql.LevelRepeatableRead)
		return c.Conn.BeginTx(ctx, opts)
	}
	tx, err := c.Conn.BeginTx(ctx, opts)
	if err != nil {
		return nil, err
	}
	if _, err := c.Conn.ExecContext(ctx, lockOfShop, nil); err != nil {
		return nil, errors.Join(err, tx.Rollback())
	}
	return tx, nil
}

// ExecContext runs a statement of the store's.
func (c *pgConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	query, _ = translate(query)
	return c.Conn.ExecContext(ctx, query, args)
}

// QueryContext runs a query of the store's.
func (c *pgConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	query, _ = translate(query)
	return c.Conn.QueryContext(ctx, query, args)
}

// PrepareContext prepares a statement of the store's.
func (c *pgConn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	query, _ = translate(query)
	return c.Conn.PrepareContext(ctx, query)
}

// CheckNamedValue makes an argument one of database/sql's own kinds, as it is for
// SQLite.
func (c *pgConn) CheckNamedValue(v *driver.NamedValue) (err error) {
	v.Value, err = driver.DefaultParameterConverter.ConvertValue(v.Value)
	if s, ok := v.Value.(string); ok {
		v.Value = noZero(s)
	}
	return err
}

// A pgSession is a session's connection. While it gives one answer, it takes no
// other question: rows that are still being read when one is asked are read to
// their end before.
type pgSession struct {
	c    *stdlib.Conn
	open *pgRows
}

// A pgStmt is a session's statement.
type pgStmt struct {
	on    *pgSession
	query string
	args  []driver.NamedValue
}

// ready makes the connection free, and adds the arguments that are missing.
func (s *pgStmt) ready(args []driver.NamedValue) ([]driver.NamedValue, error) {
	if open := s.on.open; open != nil {
		if err := open.readOn(); err != nil {
			return nil, err
		}
	}
	for i := range s.args {
		s.args[i] = driver.NamedValue{Ordinal: i + 1}
	}
	for _, a := range args {
		s.args[a.Ordinal-1] = a
	}
	return s.args, nil
}

func (s *pgStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	all, err := s.ready(args)
	if err != nil {
		return nil, err
	}
	return s.on.c.ExecContext(ctx, s.query, all)
}

func (s *pgStmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	all, err := s.ready(args)
	if err != nil {
		return nil, err
	}
	rows, err := s.on.c.QueryContext(ctx, s.query, all)
	if err != nil {
		return nil, err
	}
	s.on.open = &pgRows{on: s.on, rows: rows, columns: rows.Columns()}
	return s.on.open, nil
}

// Close does nothing: the connection remembers its statements.
func (s *pgStmt) Close() error { return nil }

// pgRows are an answer of a session's statement.
type pgRows struct {
	on      *pgSession
	rows    driver.Rows // nil once they are all read
	columns []string
	rest    [][]driver.Value
}

func (r *pgRows) Columns() []string { return r.columns }

func (r *pgRows) Next(into []driver.Value) error {
	if r.rows != nil {
		return r.rows.Next(into)
	}
	if len(r.rest) == 0 {
		return io.EOF
	}
	copy(into, r.rest[0])
	r.rest = r.rest[1:]
	return nil
}

// readOn reads what is left.
func (r *pgRows) readOn() error {
	for {
		values := make([]driver.Value, len(r.columns))
		switch err := r.rows.Next(values); err {
		case nil:
			r.rest = append(r.rest, values)
		case io.EOF:
			return r.Close()
		default:
			return errors.Join(err, r.Close())
		}
	}
}

func (r *pgRows) Close() error {
	if r.rows == nil {
		return nil
	}
	err := r.rows.Close()
	r.rows, r.on.open = nil, nil
	return err
}

// countOn has the numbers that are given to new rows go on after those that
// were written with theirs.
func (t *session) countOn() error {
	if !t.postgres { // SQLite looks which one was last
		return nil
	}
	numbered, err := t.prepare("SELECT table_name::text FROM information_schema.columns WHERE table_schema = current_schema() AND column_name = 'id' AND is_identity = 'YES'")
	if err != nil {
		return err
	}
	return numbered.each(func(v []driver.Value) error {
		name := v[0].(string)
		set, err := t.prepare("SELECT setval(pg_get_serial_sequence('" + name + "', 'id'), coalesce(max(id), 0) + 1, false) FROM " + name)
		if err != nil {
			return err
		}
		return set.each(func([]driver.Value) error { return nil })
	})
}

// sessionOn gives a session on a connection. It panics if that is none of the
// store's.
func sessionOn(c any) *session {
	switch c := c.(type) {
	case *sqlite3.SQLiteConn:
		return &session{prepareOn: func(query string) (prepared, error) {
			s, err := c.Prepare(query)
			if err != nil {
				return nil, err
			}
			return s.(*sqlite3.SQLiteStmt), nil
		}}
	case *pgConn:
		on := &pgSession{c: c.Conn}
		return &session{postgres: true, prepareOn: func(query string) (prepared, error) {
			query, n := translate(query)
			return &pgStmt{on, query, make([]driver.NamedValue, n)}, nil
		}}
	}
	panic(fmt.Sprintf("store: no sessions on a %T", c))
}

// States of PostgreSQL's errors, of its manual's appendix A.
const (
	lockNotAvailable = "55P03"
	diskFull         = "53100"
	readOnly         = "25006"
	noPrivilege      = "42501"
	uniqueViolation  = "23505"
)

// stateOf gives the state of an error of PostgreSQL's, "" if it is none.
func stateOf(err error) string {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}

func plainlyOfGroup(err error) string {
	var e *pgconn.ConnectError
	if errors.As(err, &e) {
		return "the database server can't be reached, or doesn't let you in: is it running, and are address, user and password right?"
	}
	switch stateOf(err) {
	case lockNotAvailable:
		return "another freshet is writing to this shop; try again when it is done"
	case diskFull:
		return "the disk of the database server is full, make room on it"
	case readOnly:
		return "the database server takes no changes at present"
	case noPrivilege:
		return "the user of the database server isn't allowed to do that"
	}
	return ""
}
