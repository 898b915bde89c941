package store_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/ingest/store"
)

func nightly(t *testing.T, folder string) string {
	t.Helper()
	files, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range files {
		names = append(names, strings.TrimSuffix(strings.TrimPrefix(f.Name(), "a shop?#1-2026-"), ".db"))
	}
	return strings.Join(names, " ")
}

// Over forty days, seven days and four weeks are kept, and nothing else is
// touched; each day has one backup, which holds the records.
func TestNightly(t *testing.T) {
	store.OfAFile(t)
	s, folder := open(t), filepath.Join(t.TempDir(), "backups")
	take(t, s, "RO,Date In\n1,2026-02-02\n")
	first := time.Date(2026, 3, 1, 0, 5, 0, 0, time.UTC) // a Sunday
	for day := range 40 {
		now := first.AddDate(0, 0, day)
		made, err := s.Nightly(t.Context(), folder, store.UsualKeep, now)
		if err != nil || !strings.HasSuffix(made, now.Format("2006-01-02")+".db") {
			t.Fatalf("have %q, %v", made, err)
		}
		if day == 0 {
			if err := os.WriteFile(filepath.Join(folder, "mine.db"), nil, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if again, err := s.Nightly(t.Context(), folder, store.UsualKeep, now.Add(time.Hour)); err != nil || again != "" {
			t.Fatalf("a second one on the same day: %q, %v", again, err)
		}
	}
	// By hand: April 9, 2026 is a Thursday; the newest of its week is itself,
	// those of the three before are the Sundays April 5, March 29 and March 22.
	if have, want := nightly(t, folder), "03-22 03-29 04-03 04-04 04-05 04-06 04-07 04-08 04-09 mine"; have != want {
		t.Errorf("have %s, need %s", have, want)
	}
	b, err := store.Open(t.Context(), filepath.Join(folder, "a shop?#1-2026-03-22.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if h, err := b.Check(t.Context()); err != nil || len(h.Faults) > 0 || h.Records["job_lines"] != 1 {
		t.Errorf("have %+v, %v", h, err)
	}
	if h, err := s.Check(t.Context()); err != nil || !h.Backup.Equal(first.AddDate(0, 0, 39)) {
		t.Errorf("have the last backup at %v, %v", h.Backup, err)
	}
}

// A database that went bad pushes no good backup out.
func TestNightlyKeepsTheLastGoodOne(t *testing.T) {
	store.OfAFile(t)
	s, folder := open(t), filepath.Join(t.TempDir(), "backups")
	take(t, s, "RO,Date In\n1,2026-02-02\n")
	one := store.Keep{Daily: 1}
	if _, err := s.Nightly(t.Context(), folder, one, at); err != nil {
		t.Fatal(err)
	}
	if _, err := raw(t, s).Exec("UPDATE job_lines SET kind = 'tampered'"); err != nil {
		t.Fatal(err)
	}
	if made, err := s.Nightly(t.Context(), folder, one, at.AddDate(0, 0, 1)); err == nil {
		t.Errorf("a damaged database was backed up to %s", made)
	}
	if have := nightly(t, folder); have != "03-02" {
		t.Errorf("have %s", have)
	}
}
