package ingest_test

import (
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/ingest"

	"golang.org/x/text/encoding/charmap"
)

// A file in windows-1252 is read as the same one in UTF-8: months, words for
// yes and signs for nothing have letters beyond ASCII.
func TestLegacyRows(t *testing.T) {
	utf8 := "RO,Date In,Kind,Urgent,Quoted,Promised\n" +
		"7,31. März 2026,Kühlschrank,sí,2½ h,–\n" +
		"8,5 févr. 2026,Kühlschrank,✓,“2”,\n" +
		"9,1 août 2025,Kühlschrank,sí,–,5 décembre 2025\n"
	utf8 = strings.NewReplacer("✓", "sí", "2½ h", "2 h 30", "“2”", "2").Replace(utf8)
	legacy, err := charmap.Windows1252.NewEncoder().String(utf8)
	if err != nil {
		t.Fatal(err)
	}
	read := func(text string) (out []ingest.DropOff) {
		sheet, err := ingest.Open("jobs.csv", strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		r, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs), forecast.NewDate(2026, 4, 1))
		if err != nil {
			t.Fatal(err)
		}
		for r.Next() {
			if r.Reject() != nil {
				t.Errorf("want the row, have %v", r.Reject())
				continue
			}
			out = append(out, *r.Record().(*ingest.DropOff))
		}
		return out
	}
	want, have := read(utf8), read(legacy)
	if len(want) != 3 || len(have) != 3 {
		t.Fatalf("want 3 rows of each, have %d and %d", len(want), len(have))
	}
	for i := range want {
		if want[i] != have[i] {
			t.Errorf("want\n%+v\nhave\n%+v", want[i], have[i])
		}
	}
}

// A header that comes again is no record, be its names unique or not.
func TestHeaderAgain(t *testing.T) {
	sheet, err := ingest.Open("jobs.csv", strings.NewReader("RO,Date In,Hours,Hours\n1,2026-03-02,1,2\nRO,Date In,Hours,Hours\n"))
	if err != nil {
		t.Fatal(err)
	}
	l, err := ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs).With("Hours (2)", "clocked_hours")
	if err != nil {
		t.Fatal(err)
	}
	r, err := sheet.Read(l, forecast.NewDate(2026, 4, 1))
	if err != nil {
		t.Fatal(err)
	}
	if !r.Next() || r.Reject() != nil || !r.Next() || r.Reject() == nil || r.Reject().Reason != ingest.ReasonAgain {
		t.Errorf("want a job, and a header again, have %+v, %v", r.Tally(), r.Reject())
	}
}

// A file's name is said as it is, whatever it holds.
func TestFileNamesAreNoFormats(t *testing.T) {
	if _, err := ingest.Open("100%done.csv", strings.NewReader("")); err == nil || err.Error() != "ingest: 100%done.csv: need a header line, have an empty file" {
		t.Errorf("have %v", err)
	}
}

// Cells that say "nothing" name no rig: else all such rigs would be one that
// comes back again and again.
func TestNothingIsNoRig(t *testing.T) {
	sheet, err := ingest.Open("jobs.csv", strings.NewReader("RO,Date In,VIN,Quoted\n1,2026-03-02,n/a,–\n2,2026-03-03,-,--\n3,2026-03-04,1ABC,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs), forecast.NewDate(2026, 4, 1))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"", "", "1ABC"} {
		if !r.Next() || r.Reject() != nil || r.Record().(*ingest.DropOff).Unit != want {
			t.Errorf("want unit %q, have %+v, %v", want, r.Record(), r.Reject())
		}
	}
}
