package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/jmoiron/sqlx"
	"github.com/mattn/go-sqlite3"
)

// A Refusal is why nothing is written to an open database, while reading goes
// on. It is the error of every write from then on: of a database on a
// write-protected disk, of one that was found damaged (see [Store.Vet]), and
// after a COMMIT or a sync that failed. What the disk holds isn't known then,
// and a second try may seem to work where the first one's pages are lost;
// opening the database again reads what is there.
type Refusal struct {
	Why   string // for people
	Cause error
}

func (r *Refusal) Error() string { return fmt.Sprintf("store: %s (%v)", r.Why, r.Cause) }

// Unwrap gives what brought it about.
func (r *Refusal) Unwrap() error { return r.Cause }

// Refusal tells why nothing is written, nil if the database takes changes.
func (s *Store) Refusal() *Refusal { return s.refusal.Load() }

// refuse has every later write refused. The first reason stands.
func (s *Store) refuse(why string, cause error) *Refusal {
	s.refusal.CompareAndSwap(nil, &Refusal{why, cause})
	return s.refusal.Load()
}

const (
	whyStopped   = "freshet stopped writing to the database after a disk error, and goes on reading: see to the disk, then end freshet and start it again, which shows whether the last change was kept"
	whyProtected = "the database can only be read: its disk, its folder or the file is write-protected"
)

// Ready tells whether the database can be read and, as far as is known, written
// to; it waits for nobody who writes. That its tables are up to date was seen
// when it was opened.
func (s *Store) Ready(ctx context.Context) error {
	if r := s.Refusal(); r != nil {
		return r
	}
	var n int
	return wrap(s.r.GetContext(ctx, &n, "SELECT count(*) FROM (SELECT 1 FROM settings LIMIT 1) AS found"))
}

// Vet looks whether the pages and indexes of the database are sound, or, with
// all, everything that Check does. If not, it is a *Refusal, which names the
// newest of the nightly backups in a folder, and nothing more is written.
func (s *Store) Vet(ctx context.Context, all bool, backups string) error {
	err := s.quickCheck(ctx)
	if err == nil && all {
		var h Health
		if h, err = s.Check(ctx); err == nil {
			err = h.sound(s.path)
		}
	}
	if !damaged(err) {
		return err
	}
	why := "the database is damaged, and nothing is written to it any more. "
	if last := s.lastBackup(backups); last != "" {
		why += fmt.Sprintf("The last good backup is %s: end freshet, and bring it back with: freshet restore \"%s\"", filepath.Base(last), last)
	} else {
		why += fmt.Sprintf("There is no backup in %s: end freshet, and bring back one of your own with 'freshet restore'", backups)
	}
	return s.refuse(why, err)
}

func (s *Store) quickCheck(ctx context.Context) error {
	if s.group != nil {
		return s.Ready(ctx)
	}
	var verdict string
	if err := s.r.GetContext(ctx, &verdict, "PRAGMA quick_check(1)"); err != nil {
		return wrap(err)
	}
	if verdict != "ok" {
		return &damage{s.path, verdict}
	}
	return nil
}

// A damage is a fault that was found in a database.
type damage struct{ path, fault string }

func (d *damage) Error() string { return fmt.Sprintf("store: %s is damaged: %s", d.path, d.fault) }

// damaged tells whether an error is of a damaged database.
func damaged(err error) bool {
	var e sqlite3.Error
	return errors.As(err, new(*damage)) || errors.As(err, &e) && (e.Code == sqlite3.ErrCorrupt || e.Code == sqlite3.ErrNotADB)
}

// lastBackup gives the newest nightly backup in a folder, "" if there is none.
// Each was found sound before it got its name.
func (s *Store) lastBackup(folder string) string {
	days, err := s.backupDays(folder)
	if err != nil || len(days) == 0 {
		return ""
	}
	return filepath.Join(folder, s.backupName(days[0]))
}

// protected tells whether an error is of a database that can't be written to
// where it is.
func protected(err error) bool {
	var e sqlite3.Error
	return errors.Is(err, os.ErrPermission) || errors.Is(err, readOnlyDisk) ||
		errors.As(err, &e) && (e.Code == sqlite3.ErrReadonly || e.Code == sqlite3.ErrCantOpen || e.Code == sqlite3.ErrPerm)
}

// openToRead opens a database that can't be written to, for the reason given.
func openToRead(ctx context.Context, path string, cause error) (*Store, error) {
	const usual = "mode=ro&_query_only=true&_busy_timeout=5000&_foreign_keys=on"
	s := &Store{path: path, free: freeBytes}
	s.refuse(whyProtected, cause)
	var err error
	if s.r, err = probed(ctx, dsn(path, usual)); err != nil && protected(err) {
		// A database of which no log is left is whole by itself. SQLite wants to
		// make its index of a log all the same, unless it is told that nobody
		// writes: which is so on a disk that is write-protected, and nearly so where
		// only we may not write: a command that another user's import overtakes may
		// fail, and is asked again. With a log left, it must not be told so, as it
		// wouldn't read that.
		if log, statErr := os.Stat(path + "-wal"); statErr == nil && log.Size() > 0 {
			return nil, fmt.Errorf("store: %s was left with its last changes in %s-wal, and can't be read where nothing can be written: copy both files to a folder of your own, and name the copy with --db: %w", path, path, err)
		}
		s.r, err = probed(ctx, dsn(path, usual+"&immutable=1"))
	}
	if err != nil {
		return nil, err
	}
	if err := errors.Join(s.check(ctx), s.upToDate(ctx)); err != nil {
		s.Close()
		return nil, fmt.Errorf("store: %s: %w", path, err)
	}
	return s, nil
}

// probed opens a pool of readers and reads something.
func probed(ctx context.Context, dsn string) (*sqlx.DB, error) {
	db, err := sqlx.Open(sqlite, dsn)
	if err != nil {
		return nil, wrap(err)
	}
	db.SetMaxOpenConns(4)
	var n int
	if err := db.GetContext(ctx, &n, "SELECT count(*) FROM sqlite_schema"); err != nil {
		return nil, errors.Join(wrap(err), db.Close())
	}
	return db, nil
}
