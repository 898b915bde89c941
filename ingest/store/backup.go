package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/mattn/go-sqlite3"
)

// Backup writes a copy of the database to the file at path, while others read
// and write it, and gives what the copy holds. The copy is made beside path,
// opened and checked as Check does, its records counted against the
// database's; only then does it take the place of an older file there, so that
// a bad copy never replaces a good one. It refuses to copy a database onto
// itself. now is kept under SettingBackup. Of a group's shop it is ErrOfGroup.
func (s *Store) Backup(ctx context.Context, path string, now time.Time) (Health, error) {
	if s.group != nil {
		return Health{}, ErrOfGroup
	}
	if same(s.path, path) {
		return Health{}, fmt.Errorf("store: need another file than the database itself for a backup, have %s", path)
	}
	var h Health
	err := replace(path, func(temp string) error {
		counts, err := newCopy(ctx, s.r, temp)
		if err != nil {
			return err
		}
		copied, err := reader(temp)
		if err != nil {
			return err
		}
		defer copied.Close()
		if h, err = check(ctx, copied); err != nil {
			return err
		}
		if err := h.sound(s.path); err != nil {
			return err
		}
		if !maps.Equal(counts, h.Records) {
			return fmt.Errorf("store: need a copy with the records of the database, %v, have one with %v", counts, h.Records)
		}
		return nil
	})
	if err != nil {
		return h, err
	}
	return h, s.Set(ctx, SettingBackup, now.UTC().Format(time.RFC3339))
}

// ErrOfGroup is the error of a backup of a group's shop, or of one brought back
// into it.
var ErrOfGroup = errors.New("store: a shop in PostgreSQL is backed up and brought back by PostgreSQL's own means, pg_dump --schema=shop_NAME and pg_restore; 'freshet move' copies it into a file and back")

// sound is nil if nothing was found wrong.
func (h Health) sound(path string) error {
	if len(h.Faults) == 0 {
		return nil
	}
	return &damage{path, h.Faults[0]}
}

// Restore puts the records of the backup at from in the place of those of the
// database at path, which must not be served (see Lock). The backup is copied,
// brought up to date and checked before anything is touched. What was there is
// kept: as a copy at kept, or, if it is too damaged to be read, the file itself
// is moved there. kept is empty if there was no database.
func Restore(ctx context.Context, path, from string, now time.Time) (h Health, kept string, err error) {
	if Shared(path) {
		return h, "", ErrOfGroup
	}
	if same(path, from) {
		return h, "", fmt.Errorf("store: need a backup to restore, have the database itself, %s", from)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return h, "", wrap(err)
	}
	err = replace(path, func(temp string) error {
		if h, err = openCopy(ctx, from, temp); err != nil {
			return fmt.Errorf("%w; nothing was changed", err)
		}
		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		kept = path + ".before-restore-" + now.UTC().Format("20060102T150405Z")
		sound, err := setAside(ctx, path, kept)
		if err != nil || !sound {
			return err
		}
		// Into the living database too, as one transaction: others that have it
		// open must not go on with a file that is no longer there.
		fresh, err := reader(temp)
		if err != nil {
			return err
		}
		defer fresh.Close()
		if _, err := copyDatabase(ctx, fresh, path); err != nil {
			return err
		}
		return errInPlace
	})
	if errors.Is(err, errInPlace) {
		err = nil
	}
	return h, kept, err
}

var errInPlace = errors.New("store: it is in its place")

// openCopy makes a copy of the backup and opens it, so that it is brought up to
// date, and checks it.
func openCopy(ctx context.Context, from, temp string) (h Health, err error) {
	if _, err := os.Stat(from); err != nil {
		return h, wrap(err)
	}
	backup, err := reader(from)
	if err != nil {
		return h, err
	}
	defer backup.Close()
	if _, err := newCopy(ctx, backup, temp); err != nil {
		if e := (sqlite3.Error{}); errors.As(err, &e) && (e.Code == sqlite3.ErrNotADB || e.Code == sqlite3.ErrCorrupt) {
			err = fmt.Errorf("store: need a sound backup that freshet made, have %s, which is none", from)
		}
		return h, err
	}
	s, err := Open(ctx, temp)
	if err != nil {
		return h, err
	}
	h, err = s.Check(ctx)
	if err = errors.Join(err, s.Close()); err != nil {
		return h, err
	}
	return h, h.sound(from)
}

func reader(path string) (*sqlx.DB, error) {
	db, err := sqlx.Open(sqlite, dsn(path, "mode=ro&_query_only=true&_busy_timeout=5000"))
	return db, wrap(err)
}

// setAside keeps what is at path: a copy of a sound database, or else the very
// files, which are then gone from path.
func setAside(ctx context.Context, path, kept string) (sound bool, err error) {
	db, err := reader(path)
	if err != nil {
		return false, err
	}
	defer db.Close()
	var verdict string
	if err := db.GetContext(ctx, &verdict, "PRAGMA integrity_check(1)"); err == nil && verdict == "ok" {
		return true, replace(kept, func(temp string) error {
			_, err := newCopy(ctx, db, temp)
			return err
		})
	}
	// The log goes first: beside another database it would be taken for its.
	for _, end := range []string{"-wal", "-shm", ""} {
		if err := os.Rename(path+end, kept+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return false, wrap(err)
		}
	}
	return false, nil
}

// newCopy is copyDatabase into a new file, which is then whole by itself: with
// no log beside it, it can be read from a medium that can't be written to.
func newCopy(ctx context.Context, from *sqlx.DB, path string) (counts map[string]int, err error) {
	if counts, err = copyDatabase(ctx, from, path); err != nil {
		return nil, err
	}
	db, err := sqlx.Open(sqlite, dsn(path, "_journal_mode=DELETE&_synchronous=FULL"))
	if err != nil {
		return nil, wrap(err)
	}
	return counts, errors.Join(wrap(db.PingContext(ctx)), db.Close())
}

// copyDatabase copies the pages of a database, as of one moment, into the file
// at path, and counts the records of that moment.
func copyDatabase(ctx context.Context, from *sqlx.DB, path string) (counts map[string]int, err error) {
	to, err := sqlx.Open(sqlite, dsn(path, "_synchronous=FULL&_busy_timeout=5000"))
	if err != nil {
		return nil, wrap(err)
	}
	defer to.Close()
	in, err := from.Connx(ctx)
	if err != nil {
		return nil, wrap(err)
	}
	defer in.Close()
	out, err := to.Connx(ctx)
	if err != nil {
		return nil, wrap(err)
	}
	defer out.Close()
	// The copy is made within this transaction, of what it sees.
	tx, err := in.BeginTxx(ctx, nil)
	if err != nil {
		return nil, wrap(err)
	}
	defer tx.Rollback()
	counts = map[string]int{}
	for _, t := range tables {
		var n int
		if err := tx.GetContext(ctx, &n, "SELECT count(*) FROM "+t.name); err != nil {
			return nil, wrap(err)
		}
		if n > 0 {
			counts[t.name] = n
		}
	}
	err = in.Raw(func(src any) error {
		return out.Raw(func(dst any) error {
			b, err := dst.(*sqlite3.SQLiteConn).Backup("main", src.(*sqlite3.SQLiteConn), "main")
			if err != nil {
				return wrap(err)
			}
			for {
				done, err := b.Step(4096) // pages; between steps it may be cancelled
				if err == nil {
					err = ctx.Err()
				}
				if err != nil {
					b.Close() // which says the same once more
					return wrap(err)
				}
				if done {
					return wrap(b.Finish())
				}
				reached("backup")
			}
		})
	})
	return counts, err
}

// replace makes a file beside path, and puts it in path's place if make is
// content with it, in a way that a crash leaves either the old one or the new.
func replace(path string, make func(temp string) error) (err error) {
	dir := filepath.Dir(path)
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return fmt.Errorf("store: need the name of a file, have the folder %s", path)
	}
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+"-*.part") // 0600
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("store: need a folder that is there for %s, have no %s", filepath.Base(path), dir)
	} else if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("store: need a folder that you may write in for %s, have %s", filepath.Base(path), dir)
	} else if err != nil {
		return wrap(err)
	}
	defer f.Close()
	temp := f.Name()
	defer func() {
		if err != nil {
			os.Remove(temp)
		}
		os.Remove(temp + "-wal")
		os.Remove(temp + "-shm")
	}()
	if err := make(temp); err != nil {
		return err
	}
	reached("replace")
	// Closed before it moves: Windows doesn't rename a file that is open.
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return wrap(err)
	}
	if err := os.Rename(temp, path); err != nil {
		return wrap(err)
	}
	return wrap(syncDir(dir))
}

func same(a, b string) bool {
	x, err := os.Stat(a)
	y, err2 := os.Stat(b)
	return err == nil && err2 == nil && os.SameFile(x, y)
}
