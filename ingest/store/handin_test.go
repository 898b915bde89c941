package store_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

func handIn(text string) store.HandIn {
	return store.HandIn{Name: "jobs.csv", File: strings.NewReader(text), Size: int64(len(text))}
}

var handInLatest = forecast.NewDate(2026, 11, 26)

// A file that nobody's names explain is shown with guesses, reasons and
// samples, taken in once they are confirmed, and known from then on.
func TestPreviewThenTakeIn(t *testing.T) {
	s, ctx := open(t), t.Context()
	h := handIn("id,event_date,product_category,brand\na1,2026-03-14,Roof air,Marlo\na2,2026-03-15,Battery,\na3,2026-03-16,Roof air,Marlo\n")
	p, err := s.Preview(ctx, h, handInLatest)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"ro_number", "dropped_off", "kind", ""} {
		c := p.Columns[i]
		if c.Field != want || c.Guessed != (want != "") || c.Why == "" || (c.Confidence > 0) != (want != "") || c.Confidence >= 1 {
			t.Errorf("want %q guessed, have %+v", want, c)
		}
	}
	if p.Ready || p.Remembered || len(p.Missing) > 0 || p.Dates != nil || !slices.Equal(p.Columns[2].Samples, []string{"Roof air", "Battery"}) {
		t.Errorf("have %+v", p)
	}
	if lacks := p.Lacks(); len(lacks) != 1 || !strings.Contains(lacks[0], "hours") {
		t.Errorf("want to be told of hours, which are missing, and not of kinds, have %q", lacks)
	}
	if _, err := s.TakeIn(ctx, h, handInLatest, at, nil); !errors.As(err, new(*store.Undecided)) {
		t.Errorf("want the file asked about, have %v", err)
	}
	if b, _ := s.Batches(ctx, 9); len(b) != 0 {
		t.Errorf("a preview took in %v", b)
	}
	for _, c := range p.Columns {
		field := c.Field
		if field == "" {
			field = ingest.Ignore
		}
		h.Columns = append(h.Columns, ingest.Column{Header: c.Header, Field: field})
	}
	b, err := s.TakeIn(ctx, h, handInLatest, at, nil)
	if err != nil || b.Added != 3 || !slices.Equal(b.Ignored, []string{"brand"}) {
		t.Fatalf("have %+v, %v", b, err)
	}
	next := handIn("ID;Event Date;Product-Category;Brand\na3;2026-03-16;Roof air;Marlo\na4;2026-03-17;Slide;\n") // the same when folded
	if p, err = s.Preview(ctx, next, handInLatest); err != nil || !p.Ready || !p.Remembered {
		t.Errorf("want no more questions, have %+v, %v", p, err)
	}
	if b, err = s.TakeIn(ctx, next, handInLatest, at, nil); err != nil || b.Added != 1 || b.Unchanged != 1 {
		t.Errorf("have %+v, %v", b, err)
	}
}

func TestPreviewAsks(t *testing.T) {
	s, ctx := open(t), t.Context()
	p, err := s.Preview(ctx, handIn("RO,Date In\n1,3/4/2026\n2,5/6/2026\n"), handInLatest)
	if err != nil || p.Ready || p.Dates == nil || p.Dates.Column != "Date In" || !slices.Equal(p.Examples, []string{"3/4/2026", "5/6/2026"}) {
		t.Errorf("want the order of dates asked about, have %+v, %v", p, err)
	}
	h := handIn("RO,Date In\n1,3/4/2026\n2,5/6/2026\n")
	h.Dates = ingest.MonthDay
	if p, err = s.Preview(ctx, h, handInLatest); err != nil || !p.Ready || p.Dates != nil {
		t.Errorf("have %+v, %v", p, err)
	}
	if p, err = s.Preview(ctx, handIn("RO,Colour\n1,red\n2,blue\n"), handInLatest); err != nil || p.Ready || !slices.Equal(p.Missing, []string{"dropped_off"}) {
		t.Errorf("want a day missed, have %+v, %v", p, err)
	}
	if _, err := s.TakeIn(ctx, handIn("RO,Date In,Knd\n1,2026-03-14,Roof\n"), handInLatest, at, nil); !errors.As(err, new(*store.Undecided)) {
		t.Errorf("want a guess asked about, have %v", err)
	}
	h = handIn("RO,Date In\n1,2026-03-14\n")
	h.Sheet = "Jobs"
	if _, err := s.Preview(ctx, h, handInLatest); !errors.As(err, new(*store.NoSheet)) {
		t.Errorf("have %v", err)
	}
	h = handIn("RO,Date In\n1,2026-03-14\n")
	h.Columns = []ingest.Column{{Header: "Colour", Field: "kind"}}
	if _, err := s.Preview(ctx, h, handInLatest); !errors.As(err, new(*ingest.Unmapped)) {
		t.Errorf("have %v", err)
	}
}

// Of a workbook, the sheet that fits is read, wherever it stands.
func TestSheetThatFits(t *testing.T) {
	s, ctx := open(t), t.Context()
	money := "<row r='1'><c t='inlineStr' r='A1'><is><t>Month</t></is></c><c t='inlineStr' r='B1'><is><t>Labor $</t></is></c></row>" +
		"<row r='2'><c t='inlineStr' r='A2'><is><t>January</t></is></c><c r='B2'><v>12</v></c></row>"
	jobs := "<row r='1'><c t='inlineStr' r='A1'><is><t>RO #</t></is></c><c t='inlineStr' r='B1'><is><t>Date In</t></is></c></row>" +
		"<row r='2'><c r='A2'><v>7</v></c><c t='inlineStr' r='B2'><is><t>2026-03-02</t></is></c></row>"
	for _, c := range []struct {
		named, used string
		sheets      []string
		added       int
	}{
		{"", "Sheet2", []string{money, jobs}, 1},
		{"", "Sheet1", []string{jobs, money}, 0}, // the same row
		{"Sheet1", "Sheet1", []string{jobs, jobs}, 0},
		{"Sheet2", "Sheet2", []string{jobs, jobs}, 0},
	} {
		h := handIn(workbook(t, c.sheets...))
		h.Sheet = c.named
		if p, err := s.Preview(ctx, h, handInLatest); err != nil || p.Sheet != c.used || !p.Ready {
			t.Errorf("%v: have %+v, %v", c, p, err)
		}
		if b, err := s.TakeIn(ctx, h, handInLatest, at, nil); err != nil || b.Added != c.added || len(b.Sheets) != 1 || b.Sheets[0] == c.used {
			t.Errorf("%v: have %+v, %v", c, b, err)
		} else if len(b.Doubts) != 2 || !strings.Contains(b.Doubts[1], "No column has hours") {
			t.Errorf("want a word on what is lacking, have %v", b.Doubts)
		}
	}
	if p, err := s.Preview(ctx, handIn(workbook(t, money, money)), handInLatest); err != nil || p.Sheet != "Sheet1" || p.Ready {
		t.Errorf("want the first where none fits, have %+v, %v", p, err)
	}
}

// workbook makes a workbook of sheets, named Sheet1 and so on, of the rows given.
func workbook(t *testing.T, sheets ...string) string {
	t.Helper()
	const office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	files := map[string]string{"_rels/.rels": "<Relationships><Relationship Id='a' Type='" + office + "/officeDocument' Target='xl/workbook.xml'/></Relationships>"}
	var names, parts string
	for i, rows := range sheets {
		names += fmt.Sprintf("<sheet name='Sheet%d' sheetId='%d' r:id='s%d'/>", i+1, i+1, i+1)
		parts += fmt.Sprintf("<Relationship Id='s%d' Type='%s/worksheet' Target='sheet%d.xml'/>", i+1, office, i+1)
		files[fmt.Sprintf("xl/sheet%d.xml", i+1)] = "<worksheet><sheetData>" + rows + "</sheetData></worksheet>"
	}
	files["xl/workbook.xml"] = "<workbook xmlns:r='" + office + "'><sheets>" + names + "</sheets></workbook>"
	files["xl/_rels/workbook.xml.rels"] = "<Relationships>" + parts + "</Relationships>"
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for name, text := range files {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(w, text)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// Cancelled halfway, a file leaves nothing behind.
func TestTakeInIsCancelled(t *testing.T) {
	s := open(t)
	var text strings.Builder
	text.WriteString("RO,Date In\n")
	for i := range 20_000 {
		fmt.Fprintf(&text, "%d,%s\n", i, forecast.Date(19_000+i%1000))
	}
	ctx, cancel := context.WithCancel(t.Context())
	told := 0
	_, err := s.TakeIn(ctx, handIn(text.String()), handInLatest, at, func(rows int) { told = rows; cancel() })
	if !errors.Is(err, context.Canceled) || told == 0 {
		t.Errorf("have %v after %d rows", err, told)
	}
	if b, _ := s.Batches(t.Context(), 9); len(b) != 0 {
		t.Errorf("it left %v", b)
	}
}

// A calendar's events name people of the crew, or the call says whose it is:
// a holiday isn't taken for a person.
func TestCalendar(t *testing.T) {
	s, ctx := open(t), t.Context()
	crew := handIn("name,weekly_hours\nAnsel,40\n")
	if _, err := s.TakeIn(ctx, crew, handInLatest, at, nil); err != nil {
		t.Fatal(err)
	}
	event := func(name string) string {
		return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nUID:1\r\nSUMMARY:" + name + "\r\nDTSTART;VALUE=DATE:20261221\r\nDTEND;VALUE=DATE:20261224\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
	}
	if b, err := s.TakeIn(ctx, handIn("\ufeff"+event("Ansel")), handInLatest, at, nil); err != nil || b.Kind != ingest.TimeOff || b.Added != 1 {
		t.Errorf("have %+v, %v", b, err)
	}
	h := handIn(event("Winter holiday"))
	if _, err := s.TakeIn(ctx, h, handInLatest, at, nil); !errors.As(err, new(*store.NoPerson)) || !strings.Contains(err.Error(), "Winter holiday") {
		t.Errorf("have %v", err)
	}
	h.Who = ingest.ShopName
	if p, err := s.Preview(ctx, h, handInLatest); err != nil || !p.Ready || p.Kind != ingest.TimeOff {
		t.Errorf("have %+v, %v", p, err)
	}
	if b, err := s.TakeIn(ctx, h, handInLatest, at, nil); err != nil || b.Added != 1 {
		t.Errorf("have %+v, %v", b, err)
	}
	off, err := s.Absences(ctx)
	if err != nil || fmt.Sprint(off) != "[{Ansel 2026-12-21 2026-12-23} {shop 2026-12-21 2026-12-23}]" {
		t.Errorf("have %v, %v", off, err)
	}
	h.As = ingest.Crew
	if _, err := s.TakeIn(ctx, h, handInLatest, at, nil); err == nil {
		t.Error("a calendar was taken for a crew")
	}
}

// A file is known by its content, by whatever name it came, even once it was
// taken back out.
func TestWasTakenIn(t *testing.T) {
	s, ctx := open(t), t.Context()
	const text = "ro_number,dropped_off,kind\n1,2026-03-14,brakes\n"
	sum := sha256.Sum256([]byte(text))
	was := func(want bool, sum []byte) {
		t.Helper()
		if have, err := s.WasTakenIn(ctx, store.Hash(sum)); err != nil || have != want {
			t.Errorf("want %v, have %v, %v", want, have, err)
		}
	}
	was(false, sum[:])
	if _, err := s.TakeIn(ctx, handIn(text), handInLatest, at, nil); err != nil {
		t.Fatal(err)
	}
	was(true, sum[:])
	if _, err := s.Undo(ctx, at); err != nil {
		t.Fatal(err)
	}
	was(true, sum[:])
	was(false, sum[1:])
}

// Moments fall on the shop's days; a file that came in before its zone was said
// comes as updated rows of the same jobs.
func TestTakeInOnTheShopsDays(t *testing.T) {
	s := open(t)
	h := handIn("ro_number,dropped_off\n1,2026-03-02T02:30:00Z\n2,2026-07-02\n")
	take := func(want string) {
		t.Helper()
		b, err := s.TakeIn(t.Context(), h, handInLatest, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		have := fmt.Sprint(b.Added, b.Updated, b.Unchanged)
		if err := s.Lines(t.Context(), handInLatest, func(l store.Line) { have += " " + l.DroppedOff.String() }); err != nil || have != want {
			t.Errorf("want %s, have %s, %v", want, have, err)
		}
	}
	take("2 0 0 2026-03-02 2026-07-02")
	var err error
	if h.Zone, err = time.LoadLocation("America/Denver"); err != nil {
		t.Fatal(err)
	}
	take("0 1 1 2026-03-01 2026-07-02")
}
