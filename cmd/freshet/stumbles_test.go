package main

import (
	"errors"
	"freshet/cmd/freshet/internal/week"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"freshet/cmd/freshet/internal/desk"
	"freshet/ingest/store"
)

// Who mistypes is told what may be meant, and in words that say nothing of the
// program's parts.
func TestStumbles(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	photo := filepath.Join(dir, "photo.csv")
	if err := os.WriteFile(photo, []byte("\x89PNG\x00\x00"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   string
		status int
		says   string
	}{
		{"outlok", misuse, "did you mean outlook?"},
		{"kinds sugest", misuse, "did you mean suggest?"},
		{"outlook --jsn", misuse, "did you mean --json?"},
		{"outlook --weks 3", misuse, "did you mean --weeks?"},
		{"outlook --colour", misuse, "unknown flag: --colour\n"},
		{"import " + photo, failed, "freshet: photo.csv: "},
		{"import " + photo + " a.csv b.csv", failed, "Nor were these after it taken in: a.csv, b.csv"},
		{"help outlok", misuse, "did you mean outlook?"},
		{"help kinds sugest", misuse, "did you mean suggest?"},
		{"service instal", misuse, "did you mean install?"},
		{"serve now", misuse, "need 'freshet serve', have 'freshet serve now'"},
		{"backup", misuse, "need 'freshet backup FILE', have 'freshet backup'"},
		{"outlook --weeks four", misuse, `need a whole number for --weeks, have "four"`},
		{"kinds split", misuse, "Run 'freshet help kinds split'"},
		{"--version", misuse, "did you mean 'freshet version'?"},
	} {
		status, _, errs := call(t, strings.Fields(c.args)...)
		if status != c.status || !strings.Contains(errs, c.says) {
			t.Errorf("freshet %s: want %d and %q, have %d and %q", c.args, c.status, c.says, status, errs)
		}
	}
	if got, want := week.Plain(errors.New("store: ingest: jobs.csv: line 4: report: short\n  store: full")), "jobs.csv: line 4: short\n  full"; got != want {
		t.Errorf("have %q, need %q", got, want)
	}
}

// A misspelt database is no new shop.
func TestNoDatabaseIsMade(t *testing.T) {
	typo := filepath.Join(t.TempDir(), "typo.db")
	for _, command := range []string{"outlook", "crew", "watch", "score", "report --out x.html", "kinds", "undo", "rejects", "check", "backup b.db", "export folder"} {
		status, _, errs := call(t, append(strings.Fields(command), "--db", typo)...)
		if status != failed || !strings.Contains(errs, "there is no database at "+typo) {
			t.Errorf("freshet %s: have %d %s", command, status, errs)
		}
		if _, err := os.Stat(typo); !errors.Is(err, fs.ErrNotExist) {
			t.Fatalf("freshet %s made a database", command)
		}
	}
}

// A shop's own files don't end up in the invented shop by mistake.
func TestDemoKeepsItsRecords(t *testing.T) {
	path := filepath.Join(t.TempDir(), "demo.db")
	db, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Set(t.Context(), desk.SettingDemo, "yes"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	odd := filepath.Join("..", "..", "testdata", "shop", "odd-export.csv")
	if status, _, errs := call(t, "import", "--db", path, "--accept-guesses", odd); status != failed || !strings.Contains(errs, "--into-demo") {
		t.Errorf("have %d %s", status, errs)
	}
	if status, out, errs := call(t, "import", "--db", path, "--accept-guesses", "--into-demo", odd); status != done || !strings.Contains(out, "6 added") {
		t.Errorf("have %d %s%s", status, out, errs)
	}
}
