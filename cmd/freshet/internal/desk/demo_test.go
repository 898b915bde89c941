package desk

import (
	"bytes"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/demo"
	"freshet/ingest/store"
)

// Usual is the invented shop that most tests ask about; the first that does
// takes its files in, and the others begin with a copy of its database.
var (
	Usual  = demo.SixYears(2, forecast.NewDate(2026, 11, 23))
	usual  []byte
	usuals sync.Once
)

// UsualDesk is a desk at the usual shop, of the test's own.
func UsualDesk(t testing.TB) *Desk {
	t.Helper()
	usuals.Do(func() {
		d := DemoDesk(t, Usual)
		path := filepath.Join(t.TempDir(), "shop.db")
		if _, err := d.Store.Backup(t.Context(), path, time.Unix(0, 0)); err != nil {
			t.Fatal(err)
		}
		var err error
		if usual, err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	})
	path := filepath.Join(t.TempDir(), "shop.db")
	if err := os.WriteFile(path, usual, 0o600); err != nil {
		t.Fatal(err)
	}
	return openDesk(t, path)
}

func openDesk(t testing.TB, path string) *Desk {
	t.Helper()
	db, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return &Desk{Store: db}
}

// DemoDesk takes an invented shop's files in, as a shop's own would be.
func DemoDesk(t testing.TB, spec demo.Spec) *Desk {
	t.Helper()
	d := openDesk(t, filepath.Join(t.TempDir(), "shop.db"))
	for _, f := range demo.Generate(spec).Files() {
		var b bytes.Buffer
		if err := f.Write(&b); err != nil {
			t.Fatal(err)
		}
		s, err := ingest.Open(f.Name, &b)
		if err != nil {
			t.Fatal(err)
		}
		kind := ingest.RowKind(f.Kind)
		r, err := s.Read(ingest.Propose(s.Headers, s.Sample, kind), spec.Until)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.Store.Import(t.Context(), store.Batch{File: f.Name, Kind: kind, TakenIn: time.Unix(0, 0)}, r, nil); err != nil {
			t.Fatal(err)
		}
	}
	return d
}
