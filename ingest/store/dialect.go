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

// A pgStmt is a session's statement. All rows of its answer are read before the
// first is handed on: while a connection gives one answer, it takes no other
// question.
type pgStmt struct {
	c     *stdlib.Conn
	query string
	args  []driver.NamedValue
}

func (s *pgStmt) all(args []driver.NamedValue) []driver.NamedValue {
	for i := range s.args {
		s.args[i] = driver.NamedValue{Ordinal: i + 1}
	}
	for _, a := range args {
		s.args[a.Ordinal-1] = a
	}
	return s.args
}

func (s *pgStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	return s.c.ExecContext(ctx, s.query, s.all(args))
}

func (s *pgStmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	rows, err := s.c.QueryContext(ctx, s.query, s.all(args))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	read := &readRows{columns: rows.Columns()}
	for {
		values := make([]driver.Value, len(read.columns))
		if err := rows.Next(values); err == io.EOF {
			return read, nil
		} else if err != nil {
			return nil, err
		}
		read.rows = append(read.rows, values)
	}
}

// Close does nothing: the connection remembers its statements.
func (s *pgStmt) Close() error { return nil }

type readRows struct {
	columns []string
	rows    [][]driver.Value
}

func (r *readRows) Columns() []string { return r.columns }
func (r *readRows) Close() error      { return nil }

func (r *readRows) Next(into []driver.Value) error {
	if len(r.rows) == 0 {
		return io.EOF
	}
	copy(into, r.rows[0])
	r.rows = r.rows[1:]
	return nil
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
		return &session{savepoints: true, prepareOn: func(query string) (prepared, error) {
			query, n := translate(query)
			return &pgStmt{c.Conn, query, make([]driver.NamedValue, n)}, nil
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
