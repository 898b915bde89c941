package store

import (
	"context"
	"database/sql"
	"errors"

	"github.com/jmoiron/sqlx"
	"github.com/mattn/go-sqlite3"
)

// A failedCommit leaves in doubt whether its transaction is there after the
// next start.
type failedCommit struct{ error }

func (e failedCommit) Unwrap() error { return e.error }

// writing gives the one connection that writes to f, unless writes are refused,
// and refuses all later ones if f's error leaves in doubt what the disk holds.
// All that is written to an open database goes through here.
func (s *Store) writing(ctx context.Context, f func(*sqlx.Conn) error) error {
	if r := s.Refusal(); r != nil {
		return r
	}
	// Under a request's own context a transaction would be broken off with it,
	// at a moment of the driver's choosing.
	conn, err := s.w.Connx(context.WithoutCancel(ctx))
	if err != nil {
		return wrap(err)
	}
	defer conn.Close()
	if r := s.Refusal(); r != nil { // since it was waited for
		return r
	}
	// A server of databases knows whether it kept a transaction, and says so to
	// whoever asks next.
	if err = f(conn); s.group == nil && inDoubt(err) {
		return s.refuse(whyStopped, err)
	}
	return err
}

func inDoubt(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &failedCommit{}) ||
		errors.As(err, &e) && (e.ExtendedCode == sqlite3.ErrIoErrFsync || e.ExtendedCode == sqlite3.ErrIoErrDirFsync)
}

// busy tells whether an error is of a database that another process writes to.
func busy(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && e.Code == sqlite3.ErrBusy || stateOf(err) == lockNotAvailable
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
