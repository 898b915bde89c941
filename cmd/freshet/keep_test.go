package main

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
)

// The life of a database: taken in, backed up, undone, restored, checked.
func TestKeeping(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "shop.db")
	t.Setenv("FRESHET_DB", db)
	odd := filepath.Join("..", "..", "testdata", "shop", "odd-export.csv")
	backup := filepath.Join(dir, "backup.db")
	step := func(says string, args ...string) {
		t.Helper()
		if status, out, errs := call(t, args...); status != done || !strings.Contains(out+errs, says) {
			t.Fatalf("%v: want %q, have %d %s%s", args, says, status, out, errs)
		}
	}
	step("6 added", "import", "--accept-guesses", odd)
	step("no backup yet", "check")
	step("a checked copy of 1 import, 6 job lines", "backup", backup)
	if _, _, errs := call(t, "check"); errs != "" {
		t.Errorf("want no word about the backup, have %q", errs)
	}
	step("undone, 6 rows of drop-offs removed, 0 put back", "undo")
	if status, _, errs := call(t, "undo"); status != failed || !strings.Contains(errs, "nothing to undo") {
		t.Errorf("have %d %q", status, errs)
	}
	step("0 job lines", "check")
	step("restored, 1 import, 6 job lines", "restore", backup)
	step("6 job lines", "check")
	step(`"ok":true`, "check", "--json")

	// Rejected rows, mended, are taken in by the layout of their file.
	mend := filepath.Join(dir, "mend.csv")
	step("3 rejected rows of odd-export.csv", "rejects", "--out", mend)
	text, err := os.ReadFile(mend)
	if err != nil || !bytes.Contains(text, []byte("why it was rejected")) || !bytes.Contains(text, []byte("is not a day")) {
		t.Fatalf("%s %v", text, err)
	}
	if status, out, errs := call(t, "import", mend, "--dates", "mdy"); status != done || !strings.Contains(out, "3 rejected") {
		t.Errorf("want all rejected again, have %d %s%s", status, out, errs)
	}
	if err := os.WriteFile(mend, bytes.Replace(text, []byte("2/30"), []byte("2/28"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	step("1 added, 0 updated, 0 unchanged, 2 rejected", "import", mend)
	step("1 row of drop-offs removed", "undo")
	if status, _, _ := call(t, "rejects", "--out", dir); status != failed {
		t.Errorf("written over a folder: %d", status)
	}
	if _, err := os.Stat(dir + ".part"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("what could not be written is left behind: %v", err)
	}

	// All records, exported into another database, are the same.
	step("drop-offs.csv: 6 rows", "export", filepath.Join(dir, "out"))
	t.Setenv("FRESHET_DB", filepath.Join(dir, "other.db"))
	step("6 added", "import", filepath.Join(dir, "out", "drop-offs.csv"))
	for args, says := range map[string]string{"rejects --batch 99": "there is no import 99", "rejects --batch 1": "need an import with rejected rows, have drop-offs.csv without"} {
		if status, _, errs := call(t, strings.Fields(args)...); status != failed || !strings.Contains(errs, says) {
			t.Errorf("%s: want %q, have %d %s", args, says, status, errs)
		}
	}

	// What is served can't be restored, nor served twice.
	lock, err := store.Lock(db)
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	for _, args := range [][]string{{"restore", backup, "--db", db}, {"serve", "--listen", "127.0.0.1:0", "--db", db}} {
		if status, _, errs := call(t, args...); status != failed || !strings.Contains(errs, "another freshet") {
			t.Errorf("%v: want a refusal, have %d %q", args, status, errs)
		}
	}
}

// An old backup is a note, and a fault while a freshet that should make one
// each night is running.
func TestOldBackup(t *testing.T) {
	db := filepath.Join(t.TempDir(), "shop.db")
	t.Setenv("FRESHET_DB", db)
	if status, _, errs := call(t, "import", "--accept-guesses", filepath.Join("..", "..", "testdata", "shop", "odd-export.csv")); status != done {
		t.Fatal(errs)
	}
	s, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	w := &week.Week{Store: s, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler), Keep: store.UsualKeep, Backups: filepath.Join(t.TempDir(), "backups"),
		Ask: func(context.Context) (desk.Ask, error) { return desk.Ask{AsOf: 20000, Weeks: 1}, nil }}
	w.Do(t.Context(), week.Due) // without a crew or a year of records, the backup is what counts
	check := func() (int, string) {
		var out, errs bytes.Buffer
		status := run(t.Context(), []string{"check"}, &out, &errs, w.Now)
		return status, out.String() + errs.String()
	}
	now = now.Add(23 * time.Hour)
	if status, says := check(); status != done || !strings.Contains(says, "the last backup is 23 hours old") {
		t.Errorf("have %d %s", status, says)
	}
	now = now.Add(2 * time.Hour)
	if status, says := check(); status != done || !strings.Contains(says, "note: the last backup is of 2026-11-25 09:00 UTC, 25 hours ago") {
		t.Errorf("have %d %s", status, says)
	}
	lock, err := store.Lock(db)
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	if status, says := check(); status != failed || !strings.Contains(says, "each night") {
		t.Errorf("have %d %s", status, says)
	}
	w.Do(t.Context(), week.Due)
	if status, says := check(); status != done {
		t.Errorf("have %d %s", status, says)
	}
}
