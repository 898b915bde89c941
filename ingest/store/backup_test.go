package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"freshet/ingest/store"
)

func TestBackupAndRestore(t *testing.T) {
	store.OfAFile(t)
	ctx := context.Background()
	s := open(t)
	take(t, s, export)
	take(t, s, strings.Replace(export, "plumbing,2", "plumbing,3", 1))
	want := state(t, s)
	file := filepath.Join(t.TempDir(), "shop backup.db")
	h, err := s.Backup(ctx, file, at)
	if err != nil || h.Records["job_lines"] != 4 {
		t.Fatal(h, err)
	}
	if h := healthy(t, s); !h.Backup.Equal(at) {
		t.Errorf("want the time of the backup kept, have %v", h.Backup)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("want a file for its owner alone, have %v, %v", info.Mode(), err)
	}
	// Beside the backup stands nothing else.
	if left, _ := os.ReadDir(filepath.Dir(file)); len(left) != 1 {
		t.Errorf("want one file, have %v", left)
	}
	take(t, s, "ro_number,dropped_off,kind\n9,2026-02-20,cooling\n")
	newer := state(t, s)

	// Restored while another has the database open: it sees the old records.
	_, kept, err := store.Restore(ctx, s.Path(), file, at)
	if err != nil || kept == "" {
		t.Fatal(kept, err)
	}
	if have := state(t, s); have != want {
		t.Error("want the records of the backup")
	}
	healthy(t, s)
	if b := take(t, s, export); b.Updated != 1 || b.Unchanged != 3 {
		t.Errorf("want the restored database in use, have %+v", b)
	}
	// What was there before can be restored in turn.
	if _, _, err := store.Restore(ctx, s.Path(), kept, at.AddDate(0, 0, 1)); err != nil {
		t.Fatal(err)
	}
	if have := state(t, s); have != newer {
		t.Error("want the records from before the restoring")
	}
	// Where there is no database, one is made.
	fresh := filepath.Join(t.TempDir(), "deep", "shop.db")
	if _, kept, err := store.Restore(ctx, fresh, file, at); err != nil || kept != "" {
		t.Fatal(kept, err)
	}
	again, err := store.Open(ctx, fresh)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if have := state(t, again); have != want {
		t.Error("want the records of the backup in a new database")
	}
}

// A damaged database gives no backup, and the last good one stays.
func TestBadBackupReplacesNothing(t *testing.T) {
	store.OfAFile(t)
	ctx := context.Background()
	s := open(t)
	take(t, s, export)
	file := filepath.Join(t.TempDir(), "backup.db")
	if _, err := s.Backup(ctx, file, at); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := raw(t, s).Exec("UPDATE job_lines SET quoted = 7"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Backup(ctx, file, at); err == nil || !strings.Contains(err.Error(), "is damaged") {
		t.Errorf("want the change found, have %v", err)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := s.Backup(stopped, file, at); err == nil {
		t.Error("want a cancelled backup to say so")
	}
	if _, err := s.Backup(ctx, s.Path(), at); err == nil || !strings.Contains(err.Error(), "another file") {
		t.Errorf("want the database itself refused, have %v", err)
	}
	have, err := os.ReadFile(file)
	if err != nil || !bytes.Equal(have, good) {
		t.Error("the last good backup was changed")
	}
	if left, _ := os.ReadDir(filepath.Dir(file)); len(left) != 1 {
		t.Errorf("want one file, have %v", left)
	}
}

// A backup that is cut short, of a newer version, or none at all changes
// nothing.
func TestBadRestoreChangesNothing(t *testing.T) {
	store.OfAFile(t)
	ctx := context.Background()
	s := open(t)
	take(t, s, export)
	file := filepath.Join(t.TempDir(), "backup.db")
	if _, err := s.Backup(ctx, file, at); err != nil {
		t.Fatal(err)
	}
	take(t, s, "ro_number,dropped_off,kind\n9,2026-02-20,cooling\n")
	want := state(t, s)
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for what, make := range map[string]func(path string) error{
		"cut short": func(path string) error { return os.WriteFile(path, good[:len(good)-8192], 0o600) },
		"a photo":   func(path string) error { return os.WriteFile(path, bytes.Repeat([]byte("photo "), 9999), 0o600) },
		"missing":   func(string) error { return nil },
		"newer": func(path string) error {
			if err := os.WriteFile(path, good, 0o600); err != nil {
				return err
			}
			db, err := sql.Open("sqlite3", path)
			if err != nil {
				return err
			}
			defer db.Close()
			_, err = db.Exec("INSERT INTO goose_db_version(version_id, is_applied) VALUES(9999, 1)")
			return err
		},
	} {
		path := filepath.Join(t.TempDir(), "bad.db")
		if err := make(path); err != nil {
			t.Fatal(err)
		}
		if _, _, err := store.Restore(ctx, s.Path(), path, at); err == nil {
			t.Errorf("%s: want a refusal", what)
		} else if what == "a photo" && !strings.Contains(err.Error(), "which is none") {
			t.Errorf("want the file at fault, have %v", err) // and not the database
		}
		if have := state(t, s); have != want {
			t.Errorf("%s: the records changed", what)
		}
	}
	for path, want := range map[string]string{t.TempDir(): "have the folder", filepath.Join(t.TempDir(), "nowhere", "b.db"): "need a folder that is there"} {
		if _, err := s.Backup(ctx, path, at); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: want %q, have %v", path, want, err)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(s.Path()), "*restore*")); len(left) > 0 {
		t.Errorf("nothing was set aside, but there is %v", left)
	}
}

// A database too damaged to open is set aside and replaced.
func TestRestoreOverADamagedDatabase(t *testing.T) {
	store.OfAFile(t)
	ctx := context.Background()
	s := open(t)
	take(t, s, export)
	want := state(t, s)
	file := filepath.Join(t.TempDir(), "backup.db")
	if _, err := s.Backup(ctx, file, at); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "shop.db")
	if err := os.WriteFile(path, []byte("no database at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, kept, err := store.Restore(ctx, path, file, at)
	if err != nil {
		t.Fatal(err)
	}
	if b, err := os.ReadFile(kept); err != nil || string(b) != "no database at all" {
		t.Errorf("want the damaged file kept, have %q, %v", b, err)
	}
	again, err := store.Open(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if state(t, again) != want {
		t.Error("want the records of the backup")
	}
}

func TestLock(t *testing.T) {
	store.OfAFile(t)
	path := filepath.Join(t.TempDir(), "shop.db")
	one, err := store.Lock(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.Lock(path); err == nil || !strings.Contains(err.Error(), "another freshet") {
		t.Errorf("want the second refused, have %v", err)
	}
	if err := one.Close(); err != nil {
		t.Fatal(err)
	}
	two, err := store.Lock(path)
	if err != nil {
		t.Fatal(err)
	}
	two.Close()
}

// A newer freshet doesn't change the tables under an older one that serves them.
func TestServedTablesStay(t *testing.T) {
	store.OfAFile(t)
	s, ctx := open(t), context.Background()
	db := raw(t, s)
	for _, old := range []string{"ALTER TABLE quotes DROP COLUMN held", "ALTER TABLE quotes DROP COLUMN drop_off", "DELETE FROM goose_db_version WHERE version_id = 13"} {
		if _, err := db.Exec(old); err != nil {
			t.Fatal(err)
		}
	}
	serving, err := store.Lock(s.Path())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(ctx, s.Path()); !errors.Is(err, store.ErrServed) {
		t.Fatalf("want %v, have %v", store.ErrServed, err)
	}
	held := func() (n int) {
		if err := db.QueryRow("SELECT count(*) FROM pragma_table_info('quotes') WHERE name = 'held'").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	if held() != 0 {
		t.Error("want the tables as they were, have a new column")
	}
	serving.Close()
	again, err := store.Open(ctx, s.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if held() != 1 {
		t.Error("want the tables brought up to date once nobody serves them")
	}
}
