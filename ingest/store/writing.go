package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/jmoiron/sqlx"
	"github.com/mattn/go-sqlite3"
)

// Stopped is the error of every write after a COMMIT or a sync that failed, of
// that one too: what the disk holds isn't known then, and a second try may
// seem to work where the first one's pages are lost. Opening the database
// again reads what is there.
type Stopped struct{ Cause error }

func (e *Stopped) Error() string {
	return fmt.Sprintf("store: freshet stopped writing to the database after a disk error, and goes on reading: see to the disk, then end freshet and start it again, which shows whether the last change was kept (%v)", e.Cause)
}

// Unwrap gives the error that stopped it.
func (e *Stopped) Unwrap() error { return e.Cause }

// A failedCommit leaves in doubt whether its transaction is there after the
// next start.
type failedCommit struct{ error }

func (e failedCommit) Unwrap() error { return e.error }

// writing gives the one connection that writes to f, unless the writer is
// stopped, and stops it if f's error leaves in doubt what the disk holds. All
// that is written to an open database goes through here.
func (s *Store) writing(ctx context.Context, f func(*sqlx.Conn) error) error {
	// Under a request's own context a transaction would be broken off with it,
	// at a moment of the driver's choosing.
	conn, err := s.w.Connx(context.WithoutCancel(ctx))
	if err != nil {
		return wrap(err)
	}
	defer conn.Close()
	if e := s.stopped.Load(); e != nil {
		return e
	}
	if err = f(conn); inDoubt(err) {
		e := &Stopped{err}
		s.stopped.Store(e) // nobody else has the connection
		return e
	}
	return err
}

// Ready tells whether the database can be read and, as far as is known, written
// to; it waits for nobody who writes. That its tables are up to date was seen
// when it was opened.
func (s *Store) Ready(ctx context.Context) error {
	if e := s.stopped.Load(); e != nil {
		return e
	}
	var n int
	return wrap(s.r.GetContext(ctx, &n, "SELECT count(*) FROM (SELECT 1 FROM settings LIMIT 1)"))
}

func inDoubt(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &failedCommit{}) ||
		errors.As(err, &e) && (e.ExtendedCode == sqlite3.ErrIoErrFsync || e.ExtendedCode == sqlite3.ErrIoErrDirFsync)
}

// within runs f in a write transaction, and undoes all of it if f fails.
func (s *Store) within(ctx context.Context, f func(*sqlx.Tx) error) error {
	return s.writing(ctx, func(conn *sqlx.Conn) error {
		tx, err := conn.BeginTxx(context.WithoutCancel(ctx), nil)
		if err != nil {
			return wrap(err)
		}
		defer tx.Rollback() // after a panic of f too; nothing is left to undo after a commit
		if err := f(tx); err != nil {
			return err
		}
		if err := tx.Commit(); err != nil {
			return failedCommit{wrap(err)}
		}
		return nil
	})
}

// exec runs one statement that writes.
func (s *Store) exec(ctx context.Context, query string, args ...any) (r sql.Result, err error) {
	err = s.within(ctx, func(tx *sqlx.Tx) error {
		r, err = tx.Exec(query, args...)
		return wrap(err)
	})
	return r, err
}
