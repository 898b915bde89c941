package store

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/ingest"
)

// spoil flips a bit in each of n pages of a database that nobody has open, from
// a page on, and gives their numbers. Pages count from 1.
func spoil(t *testing.T, path string, n, from int, r *rand.Rand) (pages []int) {
	t.Helper()
	const size = 4096
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for range n {
		page := from - 1 + r.IntN(len(b)/size-from+1)
		b[page*size+r.IntN(size)] ^= 1 << r.IntN(8)
		pages = append(pages, page+1)
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return pages
}

// A version in the history that lost its columns is an error, where time off
// that was taken out is asked for.
func TestDamagedVersion(t *testing.T) {
	s := Empty(t)
	OfAFile(t)
	a := &ingest.Absence{Name: "Oda", From: 20600, Until: 20601}
	for _, r := range []ingest.Record{a, nil} {
		if _, err := s.ByHand(t.Context(), "a change", ingest.TimeOff, a.Key(), nil, r, takenIn); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := s.TakenOut(t.Context(), 9); err != nil || len(out) != 1 || out[0] != *a {
		t.Fatal(out, err)
	}
	if _, err := s.w.Exec("DROP TRIGGER history_stays"); err != nil {
		t.Fatal(err)
	}
	for _, record := range []string{"x'2d00'", "x'2d002d002d00'"} { // one value without a type, and three
		if _, err := s.w.Exec("UPDATE history SET record = " + record); err != nil {
			t.Fatal(err)
		}
		if out, err := s.TakenOut(t.Context(), 9); err == nil {
			t.Errorf("have %v", out)
		}
	}
}

// What Check finds it finds in the same order each time.
func TestFaultsInOrder(t *testing.T) {
	s := Empty(t)
	for _, kind := range strings.Split("abcdefghijkl", "") {
		if _, err := s.w.Exec("INSERT INTO weekly(monday, kind, lines, first, last) VALUES('2026-01-05', ?, 1, '2026-01-05', '2026-01-05')", kind); err != nil {
			t.Fatal(err)
		}
	}
	var first []string
	for range 5 {
		h, err := s.Check(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = h.Faults
		}
		if len(h.Faults) < 10 || !slices.Equal(h.Faults, first) {
			t.Fatalf("have\n%q, then\n%q", first, h.Faults)
		}
	}
}

// A database with a broken page is found by a look at all of it, from then on
// is only read, and the newest good backup is named. The night's own work finds
// it as well, and keeps the good backups.
func TestDamage(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "shop.db")
	s := openAt(t, path)
	if _, err := importJobs(s, &jobs{n: 3000, hours: 1}); err != nil {
		t.Fatal(err)
	}
	backup, err := s.Nightly(t.Context(), folder, UsualKeep, takenIn)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Vet(t.Context(), true, folder); err != nil {
		t.Fatal(err)
	}
	s.Close()
	spoil(t, path, 40, 60, rand.New(rand.NewPCG(6, 6)))
	s = openAt(t, path)
	for name, look := range map[string]func() error{
		"at the start": func() error { return s.Vet(t.Context(), false, folder) },
		"the night's work": func() error {
			_, err := s.Nightly(t.Context(), folder, Keep{Daily: 1}, takenIn.AddDate(0, 0, 1))
			return err
		},
	} {
		s.refusal.Store(nil)
		var r *Refusal
		if err := look(); !errors.As(err, &r) || s.Refusal() != r || !strings.Contains(r.Why, "The last good backup is shop-2026-03-02.db") || !strings.Contains(r.Why, "freshet restore \""+backup+"\"") {
			t.Fatalf("%s: have %v", name, err)
		}
		if _, err := importJobs(s, &jobs{n: 5}); !errors.As(err, &r) {
			t.Errorf("%s: want nothing written, have %v", name, err)
		}
		if _, err := s.Setting(t.Context(), "a", ""); err != nil {
			t.Errorf("%s: want reading to go on, have %v", name, err)
		}
	}
	s.Close()
	if h, _, err := Restore(t.Context(), path, backup, time.Unix(0, 0)); err != nil || h.Records["job_lines"] != 3000 {
		t.Fatalf("have %+v, %v", h, err)
	}
	s = openAt(t, path)
	if err := s.Vet(t.Context(), true, folder); err != nil || s.Refusal() != nil {
		t.Errorf("have %v", err)
	}
}

// Without a backup that is said.
func TestDamageWithoutBackup(t *testing.T) {
	s := openAt(t, filepath.Join(t.TempDir(), "shop.db"))
	if _, err := importJobs(s, &jobs{n: 100}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.exec(t.Context(), "UPDATE job_lines SET quoted = 9 WHERE ro = '7'"); err != nil {
		t.Fatal(err)
	}
	if err := s.Vet(t.Context(), false, "backups"); err != nil {
		t.Errorf("want whole pages, have %v", err)
	}
	if err := s.Vet(t.Context(), true, "backups"); err == nil || !strings.Contains(err.Error(), "There is no backup in backups") || s.Refusal() == nil {
		t.Errorf("have %v", err)
	}
}

// One flipped bit in any page of records is found by Check, nearly always by
// its pages, and else by the digests; or it changed nothing that is read.
func TestOneBit(t *testing.T) {
	dir := inMemory(t)
	path := filepath.Join(dir, "shop.db")
	s := openAt(t, path)
	if _, err := importJobs(s, &jobs{n: 2000, hours: 1}); err != nil {
		t.Fatal(err)
	}
	s.Close()
	image, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sound := rows(t, path)
	found := 0
	const bits = 75
	for seed := range uint64(bits) {
		if err := os.WriteFile(path, image, 0o600); err != nil {
			t.Fatal(err)
		}
		page := spoil(t, path, 1, 2, rand.New(rand.NewPCG(seed, 8)))
		s, err := Open(t.Context(), path)
		if err != nil {
			found++ // it can't be opened, which is said
			continue
		}
		h, err := s.Check(t.Context())
		s.Close()
		if err != nil || len(h.Faults) > 0 {
			found++
		} else if have := rows(t, path); have != sound {
			t.Errorf("seed %d: a bit of page %d changed records, and wasn't found", seed, page)
		}
	}
	// Many pages belong to tables with nothing in them, where no bit matters.
	if found < bits/3 {
		t.Errorf("want a third of %d bits found, have %d", bits, found)
	}
	t.Logf("%d of %d flipped bits found; the rest changed no record", found, bits)
}

// rows gives all that stands as job lines.
func rows(t *testing.T, path string) string {
	t.Helper()
	s := openAt(t, path)
	defer s.Close()
	var all strings.Builder
	if _, err := s.Export(t.Context(), "drop-offs", &all); err != nil {
		return err.Error()
	}
	return all.String()
}
