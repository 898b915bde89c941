package main

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
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

// What is wrong or doubtful is said with its line, column and value, the
// reason, and what can be done.
func TestWhatIsWrongIsSaid(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	file := filepath.Join(dir, "jobs.csv")
	if err := os.WriteFile(file, []byte(`RO,Date In,Ready,Type,Quoted Hours
1,2026-02-02,2026-01-30,Roof,2
2,2027-06-01,,Roof,2
3,2/13/26,,Roof,2
4,2026-02-04,,Roof,-3
5,2026-02-05,,Roof,900
6,2025-02-05,,Roof,1
6,2026-02-05,,Awning,1
`), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errs := call(t, "import", file) // on November 23, 2026
	if status != done {
		t.Fatal(errs)
	}
	for _, want := range []string{
		"rejected: jobs.csv:2: Ready 2026-01-30 is before the drop-off on 2026-02-02",
		"rejected: jobs.csv:3: Date In 2027-06-01 is 2027-06-01, need a day from ",
		"doubtful: jobs.csv:4: Date In 2/13/26 was read as 2026-02-13",
		"rejected: jobs.csv:5: Quoted Hours -3 is out of range, need hours from 0 to 2000",
		"doubtful: jobs.csv:6: Quoted Hours 900 is 900 hours on one job",
		"'freshet rejects --out mend.csv' writes the rejected rows",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("want %q in\n%s", want, out)
		}
	}
	if want := "note: jobs.csv: repair order 6 was dropped off on February 5, 2025 and on February 5, 2026: is the number used again?"; !strings.Contains(errs, want) {
		t.Errorf("want %q in\n%s", want, errs)
	}
}

// Ctrl-C while a file is taken in leaves the records as they were, and says so.
func TestImportGivenUp(t *testing.T) {
	self, err := os.FindProcess(os.Getpid())
	if err != nil || runtime.GOOS == "windows" {
		t.Skip("no process can interrupt itself here")
	}
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	asked := 0
	var out, errs bytes.Buffer
	status := run(t.Context(), []string{"import", "--accept-guesses", filepath.Join("..", "..", "testdata", "shop", "odd-export.csv")}, &out, &errs, func() time.Time {
		if asked++; asked == 2 { // once for the file's latest day, once for when it is taken in
			self.Signal(os.Interrupt)
			time.Sleep(300 * time.Millisecond) // on its way
		}
		return monday()
	})
	if status != failed || !strings.Contains(errs.String(), "odd-export.csv: given up, and nothing of it was taken in") {
		t.Errorf("have %d, %s%s", status, out.String(), errs.String())
	}
	if _, out, _ := call(t, "check"); !strings.Contains(out, "0 imports, 0 job lines") {
		t.Errorf("have %s", out)
	}
}

// The line that tells of a long file is gone before the account of it is written
// on the same terminal.
func TestCountingIsCleared(t *testing.T) {
	var terminal strings.Builder
	tell, told := counting(&terminal, "jobs.csv")
	told()
	if terminal.String() != "" {
		t.Errorf("want nothing of a short file, have %q", terminal.String())
	}
	tell(5000)
	tell(10000)
	told()
	if want := "\rjobs.csv: 5000 rows\rjobs.csv: 10000 rows\r" + strings.Repeat(" ", len("jobs.csv: 10000 rows")) + "\r"; terminal.String() != want {
		t.Errorf("want %q, have %q", want, terminal.String())
	}
}
