// Package store keeps a shop's records, in a SQLite file or, where several
// shops share a database, in a schema of PostgreSQL's (see [Group]).
//
// There is one writer and a pool of readers that can't write. A file is taken
// in as one transaction: all of its rows are accounted for, or none. Dates are
// civil days as TEXT, so that they sort and never move with a time zone.
//
// The package refuses to run on a database whose safety settings did not take
// hold, on one that a newer freshet wrote, and to compute: it answers with
// rows and weekly totals, and the desk makes something of them.
//
// To use it: Open, TakeIn, then the queries; every query that can be asked "as
// of" a day gives only what was known before that day began, and [Store.Notes]
// what was said on the day itself too.
package store

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"sync/atomic"

	"github.com/jmoiron/sqlx"
	_ "github.com/mattn/go-sqlite3" // the driver
	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Store is an open database.
type Store struct {
	w    *sqlx.DB
	r    *sqlx.DB
	path string
	free func(folder string) (bytes uint64, known bool)

	group *Group // of the shop; nil of a file
	alone bool   // the group is closed with the shop

	refusal atomic.Pointer[Refusal] // why nothing is written, nil if all is well
}

// Open opens the database at path, makes it if there is none, brings its
// tables up to date, and checks that the safety settings hold. Where the
// database is write-protected it is opened to be read: see [Store.Refusal].
//
// A path such as postgres://user@host/database?shop=name is a shop of a group,
// see [OpenGroup]. A person who misspells such a name should get no new shop:
// [OpenThere] makes none.
func Open(ctx context.Context, path string) (*Store, error) {
	if Shared(path) {
		return openShop(ctx, path, (*Group).Add)
	}
	s, err := openToWrite(ctx, path)
	if err != nil && protected(err) {
		if _, missing := os.Stat(path); missing == nil {
			return openToRead(ctx, path, err)
		}
	}
	return s, err
}

// OpenThere is [Open] of a database that must be there: a misspelt name makes no
// empty one. The error of one that isn't is a *NoShop or an [fs.ErrNotExist].
func OpenThere(ctx context.Context, path string) (*Store, error) {
	if Shared(path) {
		return openShop(ctx, path, (*Group).Open)
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, wrap(err)
	}
	return Open(ctx, path)
}

func openToWrite(ctx context.Context, path string) (*Store, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	// Touch it first, so that it is ours alone whatever the umask.
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	f.Close()
	if err := form(ctx, path); err != nil {
		return nil, err
	}
	s := &Store{path: path, free: freeBytes}
	// The driver takes these keys and drops ones it doesn't know, silently:
	// check reads them back.
	s.w, err = sqlx.Open(sqlite, dsn(path, "_journal_mode=WAL&_synchronous=FULL&_txlock=immediate&_busy_timeout=5000&_foreign_keys=on&_cache_size=-24576&_mutex=no"))
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	s.w.SetMaxOpenConns(1)
	if err := s.migrate(ctx); err != nil {
		s.w.Close()
		return nil, fmt.Errorf("store: %s: %w", path, wrap(err))
	}
	s.r, err = sqlx.Open(sqlite, dsn(path, "mode=ro&_query_only=true&_busy_timeout=5000&_foreign_keys=on"))
	if err != nil {
		s.w.Close()
		return nil, fmt.Errorf("store: %w", err)
	}
	s.r.SetMaxOpenConns(4)
	s.r.SetMaxIdleConns(4) // a new one reads all tables' definitions
	if err := s.check(ctx); err != nil {
		s.Close()
		return nil, fmt.Errorf("store: %s: %w", path, wrap(err))
	}
	return s, nil
}

// form gives a database that has nothing in it yet pages of 8 KiB: an import
// then makes half the calls to the disk that the usual ones of 4 make.
func form(ctx context.Context, path string) error {
	if info, err := os.Stat(path); err != nil || info.Size() > 0 {
		return wrap(err)
	}
	db, err := sqlx.Open(sqlite, dsn(path, ""))
	if err != nil {
		return wrap(err)
	}
	defer db.Close()
	_, err = db.ExecContext(ctx, "PRAGMA page_size = 8192; VACUUM")
	return wrap(err)
}

// dsn names the file in a way that survives spaces, question marks and hashes.
func dsn(path, query string) string {
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath(), RawQuery: query}
	return u.String()
}

// migrate brings the tables up to date. A freshet that serves them goes by what
// they were when it began, so that it has to end first.
func (s *Store) migrate(ctx context.Context) error {
	p, err := steps(s.w)
	if err != nil {
		return err
	}
	pending, err := p.HasPending(ctx)
	if err != nil {
		return err
	}
	if pending {
		lock, err := lockServed(s.path)
		if errors.Is(err, ErrServed) {
			err = ErrServed // whoever opens names the path
		}
		if err != nil {
			return fmt.Errorf("its tables are an older freshet's and can't be brought up to date: %w", err)
		}
		defer lock.Close()
	}
	return bringUp(ctx, p)
}

// bringUp brings tables up to date, unless they are newer than this freshet.
func bringUp(ctx context.Context, p *goose.Provider) error {
	have, newest, err := p.GetVersions(ctx)
	if err != nil {
		return err
	}
	if err := notNewer(have, newest); err != nil {
		return err
	}
	pending, err := p.HasPending(ctx)
	if err == nil && pending {
		_, err = p.Up(ctx)
	}
	return err
}

// upToDate tells whether the tables are those that this freshet reads.
func (s *Store) upToDate(ctx context.Context) error {
	p, err := steps(s.r)
	if err != nil {
		return err
	}
	have, newest, err := p.GetVersions(ctx)
	if err != nil {
		return wrap(err)
	}
	if err := notNewer(have, newest); err != nil {
		return err
	}
	pending, err := p.HasPending(ctx)
	if err == nil && pending {
		err = fmt.Errorf("an older freshet wrote this database, and its tables can't be brought up to date while it can't be written to: need version %d, have %d", newest, have)
	}
	return wrap(err)
}

func steps(db *sqlx.DB) (*goose.Provider, error) {
	return provider(goose.DialectSQLite3, db, migrations, "migrations")
}

func provider(dialect goose.Dialect, db *sqlx.DB, files fs.FS, dir string, also ...goose.ProviderOption) (*goose.Provider, error) {
	sub, err := fs.Sub(files, dir)
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(dialect, db.DB, sub, append(also, goose.WithAllowOutofOrder(true))...) // tables that don't touch each other
}

// check reads the safety settings back from both connections.
func (s *Store) check(ctx context.Context) error {
	for _, c := range []struct {
		db           *sqlx.DB
		name, pragma string
		want         string
	}{
		{s.w, "writer", "journal_mode", "wal"},
		{s.w, "writer", "synchronous", "2"},
		{s.w, "writer", "busy_timeout", "5000"},
		{s.w, "writer", "foreign_keys", "1"},
		{s.w, "writer", "cache_size", "-24576"}, // KiB: keys come in any order
		{s.r, "reader", "query_only", "1"},
		{s.r, "reader", "busy_timeout", "5000"},
	} {
		if c.db == nil { // it is open to be read alone
			continue
		}
		var have string
		if err := c.db.GetContext(ctx, &have, "PRAGMA "+c.pragma); err != nil {
			return err
		}
		if have != c.want {
			return fmt.Errorf("need %s = %s on the %s, have %s: is the file on a network drive?", c.pragma, c.want, c.name, have)
		}
	}
	return nil
}

// Path gives the database's file, or a shop's address without its password.
func (s *Store) Path() string { return s.path }

// Folder gives the folder that the database's file is in, "" of a group's shop.
func (s *Store) Folder() string {
	if s.group != nil {
		return ""
	}
	return filepath.Dir(s.path)
}

// Close closes the database.
func (s *Store) Close() error {
	var err error
	if s.r != nil {
		err = s.r.Close()
	}
	if s.w != nil {
		err = errors.Join(err, s.w.Close())
	}
	if s.alone {
		err = errors.Join(err, s.group.Close())
	}
	return err
}
