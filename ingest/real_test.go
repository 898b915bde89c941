package ingest

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"freshet/forecast"
)

// A real export that nobody wrote for this package: Open Repair Data by the
// Open Repair Alliance and its partners, CC BY-SA 4.0, 121,692 rows (counted
// by Python's csv module).
func openRepair(t testing.TB) *os.File {
	dir := os.Getenv("FRESHET_DATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared", "data")
	}
	f, err := os.Open(filepath.Join(dir, "openrepair", "repairs.csv"))
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("no open data: set FRESHET_DATA to the folder that holds openrepair/repairs.csv")
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func readOpenRepair(t testing.TB, f *os.File) *Reader {
	s, err := Open("repairs.csv", f)
	if err != nil {
		t.Fatal(err)
	}
	l := Propose(s.Headers, s.Sample, DropOffs)
	for header, field := range map[string]string{"id": "ro_number", "event_date": "dropped_off", "product_category": "kind"} {
		if l, err = l.With(header, field); err != nil {
			t.Fatal(err)
		}
	}
	r, err := s.Read(l, forecast.NewDate(2026, 11, 26))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestOpenRepairIsReadWhole(t *testing.T) {
	r := readOpenRepair(t, openRepair(t))
	keys := map[string]bool{}
	var first, last forecast.Date = 1 << 30, 0
	kinds := map[string]int{}
	for r.Next() {
		if r.Reject() != nil {
			t.Fatal(r.Reject())
		}
		d := r.Record().(*DropOff)
		keys[d.Key()] = true
		first, last = min(first, d.DroppedOff), max(last, d.DroppedOff)
		kinds[d.Kind]++
	}
	if r.Err() != nil {
		t.Fatal(r.Err())
	}
	// All by Python's csv module and collections.Counter on the same file.
	if got, want := r.Tally(), (Tally{Rows: 121_692}); got != want || len(keys) != want.Rows {
		t.Errorf("have %+v and %d keys, need %+v", got, len(keys), want)
	}
	if first.String() != "1999-12-13" || last.String() != "2025-07-31" || len(kinds) != 40 || kinds["Lamp"] != 9306 {
		t.Errorf("have %v to %v, %d kinds, %d lamps", first, last, len(kinds), kinds["Lamp"])
	}
}

func BenchmarkOpenRepair(b *testing.B) {
	f := openRepair(b)
	info, err := f.Stat()
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		if _, err := f.Seek(0, 0); err != nil {
			b.Fatal(err)
		}
		for r := readOpenRepair(b, f); r.Next(); {
			n++
		}
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
}
