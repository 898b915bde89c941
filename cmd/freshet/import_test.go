package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// A workbook is imported like text, in either epoch; its row 8 has a day
// without a date format, its row 7 no hours.
func TestWorkbook(t *testing.T) {
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	testdata := filepath.Join("..", "..", "ingest", "xlsx", "testdata")
	status, out, errs := call(t, "import", filepath.Join(testdata, "days1900.xlsx"))
	if status != done || !strings.Contains(out, "4 rows of drop-offs: 3 added, 0 updated, 0 unchanged, 1 rejected") || !strings.Contains(out, "xlsx:7: Quoted Hours soon") ||
		!strings.Contains(out, "left alone (see --sheet): Other") || strings.Contains(out, "doubtful") {
		t.Errorf("have %d %s%s", status, out, errs)
	}
	if status, out, errs := call(t, "import", filepath.Join(testdata, "days1904.xlsx"), "--sheet", "Jobs"); status != done || !strings.Contains(out, "3 unchanged") {
		t.Errorf("want the same days by the other epoch, have %d %s%s", status, out, errs)
	}
	if status, _, errs := call(t, "import", filepath.Join(testdata, "days1904.xlsx"), "--sheet", "Sheet9"); status != misuse || !strings.Contains(errs, "Jobs") {
		t.Errorf("want the sheets named, have %d %s", status, errs)
	}
	if status, _, errs := call(t, "import", filepath.Join(testdata, "days1904.xlsx"), "--sheet", "Other"); status != failed || !strings.Contains(errs, "empty") {
		t.Errorf("want an empty sheet refused, have %d %s", status, errs)
	}
}

// A preview takes nothing in; what it guesses can be accepted as it is.
func TestPreview(t *testing.T) {
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	odd := filepath.Join("..", "..", "testdata", "shop", "odd-export.csv")
	status, out, errs := call(t, "import", "--preview", odd)
	if status != done || !strings.Contains(out, "would be taken for drop-offs; headers in line 4") || !strings.Contains(out, "Line of work  kind? ") || !strings.Contains(out, "Roof air | Battery") {
		t.Errorf("have %d %s%s", status, out, errs)
	}
	if status, out, _ := call(t, "import", "--preview", "--json", odd); status != done || !strings.Contains(out, `"header":"Line of work","field":"kind","guessed":true`) || !strings.Contains(out, `"ready":false`) {
		t.Errorf("have %d %s", status, out)
	}
	if status, out, errs := call(t, "import", "--accept-guesses", odd); status != done || !strings.Contains(out, "6 added") {
		t.Errorf("want what the preview left alone, have %d %s%s", status, out, errs)
	}
	if _, out, _ := call(t, "import", "--preview", odd); !strings.Contains(out, "Confirmed before for such headers") {
		t.Errorf("have %s", out)
	}
}
