package web

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
)

// says tells whether an answer has a status and some words.
func says(w *httptest.ResponseRecorder, status int, words string) bool {
	return w.Code == status && strings.Contains(html.UnescapeString(w.Body.String()), words)
}

// Whatever is wrong with a file that is handed in is said in plain words, and
// nothing of it is taken in.
func TestFileRefused(t *testing.T) {
	s := open(t)
	if w := s.post("/import", nil); !says(w, 400, "Choose a file first.") {
		t.Errorf("no file: have %d %s", w.Code, w.Body)
	}
	if w := s.upload("empty.csv", ""); !says(w, 400, "This file is empty.") {
		t.Errorf("an empty file: have %d %s", w.Code, w.Body)
	}
	if w := s.get("/import/0123"); !says(w, 404, "This file isn't here any more. Choose it once again.") {
		t.Errorf("a file that nobody handed in: have %d %s", w.Code, w.Body)
	}
	for _, path := range []string{"", "/cancel"} {
		if w := s.post("/import/0123"+path, nil); w.Code != 404 {
			t.Errorf("%q: have %d", path, w.Code)
		}
	}
	if w := s.get("/import/0123/progress"); w.Code != 404 {
		t.Errorf("its progress: have %d", w.Code)
	}
	if w := s.upload("book.xlsx", "PK\x03\x04 and no more of it"); !says(w, 200, "book.xlsx: need an Excel workbook (.xlsx), have a file that breaks off") {
		t.Errorf("half a workbook: have %d %s", w.Code, w.Body)
	}

	at := s.upload("people.csv", "name,hours\nOda,40\n").Header().Get("Location")
	again := func(as string) *httptest.ResponseRecorder {
		return s.post(at, url.Values{"again": {"yes"}, "as": {as}})
	}
	if w := again("nonsense"); !says(w, 400, "Say what the rows are.") {
		t.Errorf("rows of no kind: have %d %s", w.Code, w.Body)
	}
	if w := again("time-off"); w.Code != 303 || !says(s.get(at), 200, "From") {
		t.Errorf("looked at anew: have %d %s", w.Code, s.get(at).Body)
	}
	if w := again("crew"); w.Code != 303 || !says(s.get(at), 200, "Hours a week") {
		t.Errorf("looked at anew: have %d %s", w.Code, s.get(at).Body)
	}
	if w := s.post(at, url.Values{"column.0": {"name"}, "column.1": {"weekly_hours"}, "dates": {"sideways"}}); !says(w, 400, "Say which number of a date is the day.") {
		t.Errorf("an order of dates that isn't one: have %d %s", w.Code, w.Body)
	}
	if w := s.post(at+"/cancel", nil); w.Code != 303 || w.Header().Get("Location") != "/records" || s.get(at).Code != 404 {
		t.Errorf("given up: have %d to %s, then %d", w.Code, w.Header().Get("Location"), s.get(at).Code)
	}
	if b, err := s.db.Batches(context.Background(), 9); len(b) > 0 || err != nil {
		t.Errorf("something was taken in: %v, %v", b, err)
	}
}

// Dates that may be read two ways are asked about, and taken as they are said.
func TestAskedAboutDates(t *testing.T) {
	s := open(t)
	at := s.upload("jobs.csv", "ro_number,dropped_off\n1,3/4/2026\n2,5/6/2026\n").Header().Get("Location")
	columns := url.Values{"column.0": {"ro_number"}, "column.1": {"dropped_off"}}
	if w := s.post(at, columns); !says(w, 422, "Say below which number of a date is the day.") {
		t.Errorf("have %d %s", w.Code, w.Body)
	}
	columns.Set("dates", "dmy")
	if w := s.post(at, columns); w.Code != 303 {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	s.taken(at)
	open, err := s.db.Open(context.Background(), 0, 30000)
	if err != nil || len(open) != 2 || open[0].DroppedOff.String() != "2026-04-03" {
		t.Errorf("want April 3, have %v, %v", open, err)
	}
	if w := s.get(at + "/progress"); w.Header().Get("HX-Refresh") != "true" || !strings.HasSuffix(w.Body.String(), " rows so far") {
		t.Errorf("have %q, refresh %q", w.Body, w.Header().Get("HX-Refresh"))
	}
	if w := s.post(at, columns); w.Code != 303 { // sent twice: taken once
		t.Errorf("have %d %s", w.Code, w.Body)
	}
	if b, err := s.db.Batches(context.Background(), 9); len(b) != 1 || err != nil {
		t.Errorf("want one file taken in, have %v, %v", b, err)
	}
}

// taken waits until a file that is handed in has come in, and gives its page.
func (s *site) taken(at string) string {
	s.t.Helper()
	for range 1000 {
		if text := s.get(at).Body.String(); !strings.Contains(text, "being taken in") {
			return html.UnescapeString(text)
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.t.Fatal("the file doesn't come in")
	return ""
}

// Whoever stops a file on its way in has the records as they were, and reads so.
func TestStopAFile(t *testing.T) {
	s := open(t)
	var text strings.Builder
	text.WriteString("ro_number,dropped_off\n")
	for i := range 60_000 {
		fmt.Fprintf(&text, "%d,2026-11-%02d\n", i, 1+i%20)
	}
	at := s.upload("long.csv", text.String()).Header().Get("Location")
	form := url.Values{"column.0": {"ro_number"}, "column.1": {"dropped_off"}, "token": {s.formToken()}}
	if w := s.post(at, form); w.Code != 303 {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	if w := s.post(at+"/cancel", url.Values{"token": form["token"]}); w.Code != 303 || w.Header().Get("Location") != at {
		t.Errorf("have %d to %s", w.Code, w.Header().Get("Location"))
	}
	if page := s.taken(at); !strings.Contains(page, "You stopped it. Nothing was changed.") {
		t.Errorf("have %s", page)
	}
	if b, err := s.db.Batches(context.Background(), 9); len(b) > 0 || err != nil || s.made.Load() != 0 {
		t.Errorf("want nothing taken in, have %v, %v, %d reports", b, err, s.made.Load())
	}
}

// Only so many files wait for a word at a time. Those that nobody has come back
// to for an hour make room, and the oldest that is only looked at, but none that is
// being taken in.
func TestFilesThatWait(t *testing.T) {
	s := open(t)
	var first string
	for i := range mostArrivals {
		s.now = s.now.Add(time.Second)
		w := s.upload("a.csv", "ro_number,dropped_off\n1,2026-11-02\n")
		if w.Code != http.StatusOK {
			t.Fatalf("file %d: have %d %s", i+1, w.Code, w.Body)
		}
		if i == 0 {
			first = w.Header().Get("Location")
		}
	}
	if w := s.upload("b.csv", "x,y\n1,2\n"); w.Code != http.StatusOK || s.get(first).Code != 404 {
		t.Errorf("want the oldest to give way, have %d, and %d of it", w.Code, s.get(first).Code)
	}
	here := s.arrivals.(*inFolder)
	for id := range here.here {
		if _, err := here.change(t.Context(), id, func(a *arrival) error { a.Taking, a.Alive = true, s.now; return nil }); err != nil {
			t.Fatal(err)
		}
		first = "/import/" + id
	}
	if w := s.upload("b.csv", "x"); !says(w, 429, "Too many files are on their way in. Finish or cancel one first.") {
		t.Errorf("have %d %s", w.Code, w.Body)
	}
	s.now = s.now.Add(arrivedFor + time.Second)
	if w := s.upload("c.csv", "x,y\n1,2\n"); w.Code != http.StatusOK {
		t.Errorf("after an hour: have %d %s", w.Code, w.Body)
	}
	if w := s.get(first); w.Code != 404 {
		t.Errorf("the first one is still there: %d", w.Code)
	}
}

func TestPlainName(t *testing.T) {
	for name, want := range map[string]string{
		`C:\Users\Shop\jobs.csv`: "jobs.csv", "../../etc/passwd": "passwd", "a\x00b\u202e.csv": "ab.csv", "": "file", `\\\`: "file",
		strings.Repeat("ü", 200) + ".csv": strings.Repeat("ü", 120),
	} {
		if have := plainName(name); have != want {
			t.Errorf("%q: want %q, have %q", name, want, have)
		}
	}
}

// A file that has come in is in nobody's way: of those that were handed in
// within an hour only the ones that still wait, or are under way, count.
func TestManyFilesInAnHour(t *testing.T) {
	s := open(t)
	for i := range 2 * mostArrivals {
		w := s.upload("a.csv", fmt.Sprintf("ro_number,dropped_off\n%d,2026-11-02\n", i))
		at := w.Header().Get("Location")
		if w.Code != http.StatusOK || s.post(at, url.Values{"column.0": {"ro_number"}, "column.1": {"dropped_off"}}).Code != 303 {
			t.Fatalf("file %d: have %d %s", i+1, w.Code, w.Body)
		}
		if page := s.taken(at); !strings.Contains(page, "It is in: 1 row, of which 1 added") {
			t.Fatalf("file %d: have %s", i+1, page)
		}
	}
}

// A calendar's instants are days of the shop's zone, also where a person looks
// at the file anew: 2 in the morning in London is the evening before in Denver.
func TestCalendarInTheShopsZone(t *testing.T) {
	s := open(t)
	if err := s.db.Set(t.Context(), desk.SettingZone, "America/Denver"); err != nil {
		t.Fatal(err)
	}
	at := s.upload("shop.ics", "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTAMP:20261101T000000Z\r\nDTSTART:20261210T020000Z\r\nDTEND:20261210T030000Z\r\nSUMMARY:shop\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n").Header().Get("Location")
	if !says(s.get(at), 200, "2026-12-09") {
		t.Errorf("want the day before, have %s", s.get(at).Body)
	}
	if w := s.post(at, url.Values{"again": {"yes"}, "as": {"time-off"}}); w.Code != 303 || !says(s.get(at), 200, "2026-12-09") {
		t.Errorf("looked at anew: want the day before, have %d %s", w.Code, s.get(at).Body)
	}
}
