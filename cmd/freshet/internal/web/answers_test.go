package web

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/demo"
	"freshet/ingest/store"
	"freshet/report"
)

// The pages that ask the desk say what they need, then answer, keep what was
// told, and say plainly what they can't read.
func TestAnswers(t *testing.T) {
	s := open(t)
	if w := s.get("/quote"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "It needs to know who works here") {
		t.Errorf("an empty shop: want to be told what the page needs, have %d", w.Code)
	}
	for path, want := range map[string]string{"/outlook": "It needs your drop-offs", "/watch": "It needs your drop-offs", "/crew": "It needs your drop-offs"} {
		if w := s.get(path); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s of an empty shop: want %q, have %d", path, want, w.Code)
		}
	}
	if w := s.get("/outlook?kind=dentistry"); w.Code != http.StatusOK {
		t.Errorf("have %d", w.Code)
	}
	s.fill()
	for path, want := range map[string]string{
		"/quote":                                            "Three dates will stand here",
		"/quote?kind=cooling&hours=4&part=here":             "8 in 10: say this one",
		"/quote/answer?kind=cooling&hours=2,5":              "2.5 hours",
		"/quote/answer?kind=cooling&hours=2h+30m":           "2.5 hours",
		"/quote/answer?kind=cooling&hours=500":              "Are the hours right?",
		"/quote/answer?kind=cooling&drop_off=2026-12-07":    "If you bring it in on Monday, December 7, we expect",
		"/quote/answer?kind=cooling&drop_off=2026-11-01":    "Need a day of drop-off from November 23 to May 22, 2027, have November 1",
		"/quote/answer?kind=cooling&drop_off=soon":          "Dropped off on: need a day, have &#34;soon&#34;.",
		"/quote/answer?kind=cooling&hours=lots":             "such as 4, 2.5 or 2h 30m",
		"/quote/answer?kind=cooling&part=days":              "need a number of 0 or more",
		"/crew/answer":                                      "<p id=\"says\" hx-swap-oob=\"innerHTML\">As things stand",
		"/crew/answer?tech=2&from=2027-03-01":               "What if: 2 technicians more from March 1, 2027. Then",
		"/crew/answer?tech=1":                               "hx-get=\"/crew/answer?tech=1&amp;whole=yes\"",
		"/crew/answer?tech=lots":                            "Technicians: need a whole number from -3 to 5. As things stand",
		"/crew/answer?tech=1&from=soon":                     "Start on: need a day. As things stand",
		"/quote/answer?kind=%3Cscript%3Ealert(1)%3C/script": "&lt;script&gt;",
	} {
		w := s.get(path)
		if text := w.Body.String(); w.Code != http.StatusOK || !strings.Contains(text, want) || strings.Contains(text, "<script>alert") {
			t.Errorf("%s: want %q, have %d %s", path, want, w.Code, text)
		}
	}
	jobs := s.get("/jobs").Body.String()
	_, key, _ := strings.Cut(jobs, `href="/jobs/line?key=`)
	key, _, _ = strings.Cut(key, `"`)
	if text := s.get("/jobs/line?key=" + key).Body.String(); !strings.Contains(jobs, "Likely ready by") || !strings.Contains(text, "What to tell the customer") || !strings.Contains(text, "in 8 cases") {
		t.Errorf("want to be told when %s is likely to be ready, have %s", key, text)
	}
	for path, rough := range map[string]bool{"/crew/answer?tech=1": true, "/crew/answer?tech=1&whole=yes": false} {
		if text := s.get(path).Body.String(); strings.Contains(text, "Roughly") != rough || strings.Contains(text, "whole=yes") != rough {
			t.Errorf("%s: want rough numbers, and the way to the exact ones: %v", path, rough)
		}
	}
	if w := s.post("/quote", url.Values{"kind": {"cooling"}, "hours": {"4"}, "ro": {" Q-77 "}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body.String())
	}
	kept, err := s.Store.Quotes(t.Context(), 5)
	if err != nil || len(kept) != 1 || kept[0].RO != "Q-77" || kept[0].Kind != "cooling" || kept[0].Hours.V != 4 || kept[0].PartsDays.Valid {
		t.Errorf("want it kept as told, have %+v, %v", kept, err)
	}
	if w := s.get("/quote?said=quoted"); !strings.Contains(w.Body.String(), "Q-77") || !strings.Contains(w.Body.String(), "The quote is kept.") {
		t.Error("want it among the recent ones")
	}
	if text := s.get("/quote").Body.String(); !strings.Contains(text, "not among the records yet") || !strings.Contains(text, "/quote/1/slip") {
		t.Error("want to be told how it turned out, and a slip")
	}
	if text := s.get("/quote/1/slip").Body.String(); !strings.Contains(text, "repair order Q-77") || !strings.Contains(text, report.LongDay(kept[0].P80)) || !strings.Contains(text, capacity.CustomerCaution) {
		t.Errorf("the slip: have %s", text)
	}
	if w := s.post("/quote", url.Values{"kind": {"cooling"}, "part": {"days"}, "parts_days": {"3"}, "drop_off": {"2026-12-07"}, "held": {"yes"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body.String())
	}
	text := s.get("/quote/2/slip").Body.String()
	for _, want := range []string{"Print slip", "<dt>Name</dt>", "<dt>Phone</dt>", "<dt>Rig</dt>", "You drop it off on Monday, December 7, 2026; we keep your place in line from November 23 on.", "These days count on the part being here by Thursday, November 26, 2026."} {
		if !strings.Contains(text, want) {
			t.Errorf("the slip: want %q in %s", want, text)
		}
	}
	if w := s.get("/quote/9/slip"); w.Code != http.StatusNotFound {
		t.Errorf("have %d", w.Code)
	}
	if w := s.post("/quote", url.Values{"kind": {"dentistry"}}); w.Code != http.StatusBadRequest {
		t.Errorf("want nothing kept of a quote that wasn't, have %d", w.Code)
	}
}

// fill takes the invented shop's files in.
func (s *site) fill() {
	t := s.t
	t.Helper()
	today := forecast.DateOf(s.Now())
	for _, f := range demo.Generate(demo.SixYears(2, today)).Files() {
		var b bytes.Buffer
		if err := f.Write(&b); err != nil {
			t.Fatal(err)
		}
		sheet, err := ingest.Open(f.Name, &b)
		if err != nil {
			t.Fatal(err)
		}
		kind := ingest.RowKind(f.Kind)
		rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, kind), today)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Store.Import(t.Context(), store.Batch{File: f.Name, Kind: kind, TakenIn: s.Now().Add(-time.Hour)}, rows, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Store.Set(t.Context(), desk.SettingZone, "UTC"); err != nil {
		t.Fatal(err)
	}
}

// Quotes are set against the last line of the repair order that they became.
func TestOutcomes(t *testing.T) {
	s := open(t)
	s.takeInText("jobs.csv", "drop-offs", "ro_number,dropped_off,kind,ready\n1,2026-11-02,cooling,2026-11-09\n1,2026-11-02,plumbing,2026-11-12\n2,2026-11-02,cooling,2026-11-10\n3,2026-11-02,cooling,\n3,2026-11-02,plumbing,2026-11-03\n4,2026-11-02,cooling,\n")
	day := forecast.NewDate(2026, 11, 10)
	var quotes []store.Quote
	for _, q := range []struct {
		ro string
		by forecast.Date
	}{{"1", day}, {"2", day}, {"3", day}, {"4", day + 30}, {"5", day}, {"", day}} {
		quotes = append(quotes, store.Quote{RO: q.ro, P80: q.by})
	}
	have, err := outcomes(t.Context(), s.db, quotes, day+13)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"ready November 12, 2 days late", "ready November 10, in time", "not ready yet, 13 days over", "not ready yet", "not among the records yet", "no repair order was named"} {
		if have[i].Outcome != want || have[i].Late != (i == 0 || i == 2) {
			t.Errorf("want %q, have %q", want, have[i].Outcome)
		}
	}
}

// An answer is made once and again after a change; while the report is made
// anew the older one does, and one that takes long holds up no other.
func TestAnswersAreKept(t *testing.T) {
	s := open(t)
	made := 0
	count := question[int]{"count", 1, false, func(context.Context, *desk.Desk, desk.Ask) (int, error) { made++; return made, nil }}
	busy := context.WithValue(t.Context(), busyKey{}, true)
	ask := func(ctx context.Context, want int) {
		t.Helper()
		if v, err := answer(ctx, s.Server, count); v != want || err != nil {
			t.Errorf("want %d, have %d, %v", want, v, err)
		}
	}
	ask(busy, 1) // there is no older one
	ask(t.Context(), 1)
	s.change()
	ask(busy, 1)
	ask(t.Context(), 2)
	s.takeInText("jobs.csv", "drop-offs", "ro_number,dropped_off\n1,2026-11-02\n")
	ask(t.Context(), 3)
	s.now = s.now.Add(24 * time.Hour)
	ask(t.Context(), 4)

	begun, goOn := make(chan bool), make(chan bool)
	ended := make(chan error)
	go func() {
		_, err := answer(t.Context(), s.Server, question[int]{"long", 1, false, func(context.Context, *desk.Desk, desk.Ask) (int, error) { close(begun); <-goOn; return 0, nil }})
		ended <- err
	}()
	<-begun
	ask(t.Context(), 4)
	s.change()
	ask(busy, 4)
	if n, err := counted(t.Context(), s.Server, "quick", func(context.Context, *store.Store) (int, error) { return 7, nil }); n != 7 || err != nil {
		t.Errorf("have %d, %v", n, err)
	}
	close(goOn)
	if err := <-ended; err != nil {
		t.Error(err)
	}

	// What the records lack is found once, and found again after a change; what
	// else went wrong is tried again.
	looked := 0
	lacks := func(err error, want int) {
		t.Helper()
		q := question[int]{"lacks " + err.Error(), 1, false, func(context.Context, *desk.Desk, desk.Ask) (int, error) { looked++; return 0, err }}
		looked = 0
		for range 2 {
			if _, have := answer(t.Context(), s.Server, q); !errors.Is(have, err) {
				t.Errorf("want %v, have %v", err, have)
			}
		}
		s.change()
		if _, have := answer(busy, s.Server, q); !errors.Is(have, err) || looked != want {
			t.Errorf("%v: want it looked for %d times, have %d, %v", err, want, looked, have)
		}
	}
	lacks(desk.ErrNoCrew, 2)
	lacks(errors.New("the disk is gone"), 3)
}

// How long each page takes once what it asks is answered.
func BenchmarkPages(b *testing.B) {
	s := open(b)
	s.fill()
	s.Warm(b.Context())
	for _, rt := range s.routes() {
		path := strings.TrimSuffix(rt.path, "{$}")
		if path == "/quote/answer" {
			path += "?kind=cooling&hours=4"
		}
		if rt.name == "" && rt.path == path {
			continue
		}
		b.Run(path, func(b *testing.B) {
			for b.Loop() {
				if w := s.get(path); w.Code != http.StatusOK {
					b.Fatal(w.Code)
				}
			}
		})
	}
}

// change notes a change on the pages, after which answers are made anew.
func (s *site) change() {
	s.t.Helper()
	if err := s.db.Note(s.t.Context(), store.Change{At: s.now, Who: "the owner", What: "changed something"}); err != nil {
		s.t.Fatal(err)
	}
}
