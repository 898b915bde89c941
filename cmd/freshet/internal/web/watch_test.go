package web

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest/demo"
	"freshet/ingest/store"
	"freshet/report"
)

// The owner says of an alert that it is seen, and why it came; the counter
// reads it and has no form for it.
func TestNotesOnAlerts(t *testing.T) {
	s := open(t)
	if w := s.post("/watch", url.Values{"step": {"seen"}, "alert": {"run-2026-08-03"}}); w.Code != http.StatusConflict || !strings.Contains(w.Body.String(), "no records") {
		t.Errorf("without records: have %d", w.Code)
	}
	s.now = time.Date(2026, 8, 31, 15, 0, 0, 0, time.UTC)
	for _, f := range demo.Generate(demo.SixYears(2, forecast.NewDate(2026, 11, 23))).Files() {
		var text bytes.Buffer
		if err := f.Write(&text); err != nil {
			t.Fatal(err)
		}
		if string(f.Kind) == "drop-offs" {
			s.takeInText(f.Name, "drop-offs", text.String())
		}
	}
	_, rest, ok := strings.Cut(s.get("/watch").Body.String(), `<div class="alert" id="`)
	id, _, _ := strings.Cut(rest, `"`)
	if !ok {
		t.Fatal("the page shows no alert")
	}
	say := func(more ...string) url.Values {
		form := url.Values{"alert": {id}}
		for i := 0; i < len(more); i += 2 {
			form.Set(more[i], more[i+1])
		}
		return form
	}
	for _, c := range []struct {
		form url.Values
		code int
		want string // on the page afterwards, or in the answer
	}{
		{say("step", "seen"), 303, "Seen by the owner on August 31."},
		{say("step", "explain", "because", " "), 422, "in a few words"},
		{say("step", "explain", "because", strings.Repeat("x", 201)), 422, "200 letters"},
		{say("step", "explain", "because", "a storm", "one-time", "on", "from", "2026-08-03", "until", ""), 422, "on which day"},
		{say("step", "explain", "because", "a storm", "one-time", "on", "from", "2026-08-03", "until", "2026-08-02"), 422, "before the first"},
		{say("step", "explain", "because", "<em>UHOH</em>"), 303, "Explained by the owner on August 31: &lt;em&gt;UHOH&lt;/em&gt;."},
		{say("step", "explain", "because", "a storm", "one-time", "on", "from", "2026-08-03", "until", "2026-09-06"), 303, "The days from August 3 to September 6 won&#39;t bend next year&#39;s season."},
		{say("step", "back"), 303, "&lt;em&gt;UHOH"},
		{say("step", "back"), 303, "Seen by the owner"},
		{say("step", "none"), 400, "Say what to do"},
		{url.Values{"alert": {"run-2020-01-06"}, "step": {"seen"}}, 409, "stand any more"},
		{url.Values{"alert": {"run-2020-01-06"}, "step": {"back"}}, 409, "nothing to take back"},
	} {
		w := s.post("/watch", c.form)
		text := w.Body.String()
		if w.Code == http.StatusSeeOther {
			text = s.get("/watch").Body.String()
		}
		if w.Code != c.code || !strings.Contains(text, c.want) {
			t.Errorf("%v: want %d and %q, have %d and %s", c.form, c.code, c.want, w.Code, text)
		}
	}
	if n := s.made.Load(); n != 5 {
		t.Errorf("want the report made anew for each of 5 changes, have %d", n)
	}
	changes, err := s.db.Changes(t.Context(), 9)
	if err != nil || len(changes) != 5 || changes[0].Who != "owner" || changes[2].What != "explained "+id+": a storm; Monday, August 3, 2026 to Sunday, September 6, 2026 won't bend next year's season" {
		t.Errorf("have %+v, %v", changes, err)
	}
	// A day on which it doesn't stand yet; a day to come; and November, by whose
	// reports it was.
	for _, c := range []struct {
		path, want, not string
		code            int
	}{
		{"/watch?as-of=2026-07-20", "As of Monday, July 20, 2026", id, 200},
		{"/watch?as-of=2026-08-24", `<div class="alert"`, `action="/watch" class="form"`, 200},
		{"/watch?as-of=2026-08-31", `action="/watch" class="form"`, "As of", 200},
		{"/watch?as-of=2026-09-01", "a day up to today", id, 422},
		{"/watch?as-of=August", "a day up to today", id, 422},
		{"/watch?as-of=0001-01-01", "from before that day", id, 422},
		{"/watch", "No week's report is kept from before.", "Reports are kept", 200},
	} {
		if w := s.get(c.path); w.Code != c.code || !strings.Contains(w.Body.String(), c.want) || strings.Contains(w.Body.String(), c.not) {
			t.Errorf("%s: want %d and %q without %q, have %d %s", c.path, c.code, c.want, c.not, w.Code, w.Body)
		}
	}
	keep := func(alerts ...report.Alert) {
		t.Helper()
		j, err := json.Marshal(report.Report{Facts: report.Facts{Alerts: alerts}})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.db.KeepRun(t.Context(), store.Run{AsOf: forecast.NewDate(2026, 8, 24), DataUntil: forecast.NewDate(2026, 8, 23), Report: j}); err != nil {
			t.Fatal(err)
		}
	}
	keep()
	if text := s.get("/watch").Body.String(); !strings.Contains(text, "Reports are kept since August 24; none told of anything else.") {
		t.Errorf("with a report that told of nothing: %s", text)
	}
	keep(report.Alert{ID: id, Lead: "It stands."}, report.Alert{ID: "gap-2026-08-10", Lead: "<em>UHOH</em>", Note: "Kept then."})
	if text := s.get("/watch").Body.String(); !strings.Contains(text, "<p>&lt;em&gt;UHOH&lt;/em&gt; <span class=\"quiet\">In the report of the week of August 24.</span></p>") || strings.Contains(text, "It stands.") {
		t.Errorf("with a report that told of something past: %s", text)
	}
	s.lock()
	s.logIn(counter, countersWords)
	if text := s.get("/watch").Body.String(); !strings.Contains(text, "Seen by the owner") || strings.Contains(text, "/watch\" class") {
		t.Error("want the counter to read the note and to have no form")
	}
}
