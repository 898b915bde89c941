package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/ingest"
	"freshet/report"
)

// Somebody is put on the crew with skills, share and pay, is changed, taken
// off and put back, each step as a batch that undo takes back; what is typed
// wrong stays in the form with a word.
func TestPerson(t *testing.T) {
	s := open(t)
	s.takeInText("jobs.csv", "drop-offs", "ro_number,dropped_off,kind\n1,2026-11-20,Roof A/C\n2,2026-11-20,plumbing\n")
	const path = "/time-off/person"
	one := func() ingest.Person {
		t.Helper()
		crew, err := s.db.Crew(t.Context())
		if err != nil || len(crew) != 1 {
			t.Fatal(crew, err)
		}
		return crew[0]
	}
	ada := url.Values{"name": {"Ada"}, "weekly_hours": {"36.5"}, "skills": {"some"}, "skill": {"Roof A/C"}, "productivity": {"84.5"}, "hourly_cost": {"31.25"}, "from": {"2026-03-01"}}
	if w := s.post(path, ada); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	if p := one(); p.Name != "Ada" || p.WeeklyHours != 36.5 || strings.Join(p.Skills, "|") != "Roof A/C" || p.Productivity.V != .845 || p.HourlyCost.V != 31.25 || p.Key() != "ada\t2026-03-01" {
		t.Errorf("have %+v", p)
	}
	if text := s.get("/time-off").Body.String(); !regexp.MustCompile("Roof A/C</td><td[^>]*>8[45]\u00a0%</td><td[^>]*>\\$31.25</td>").MatchString(text) {
		t.Errorf("the list: %s", text)
	}
	at := path + "?" + url.Values{"key": {"ada\t2026-03-01"}}.Encode()
	seen := func() string {
		t.Helper()
		_, rest, _ := strings.Cut(s.get(at).Body.String(), `name="seen" value="`)
		seen, _, _ := strings.Cut(rest, `"`)
		if seen == "" {
			t.Fatal(s.get(at).Body)
		}
		return seen
	}
	for _, bad := range []struct {
		name, value, said string
	}{{"until", "2026-02-01", "is before the first"}, {"skill", "", "Tick the kinds of work that Ada can do"}, {"weekly_hours", "200", "is out of range"},
		{"productivity", "300", "is out of range"}, {"weekly_hours", "36.5", "Nothing was changed"}, {"name", "Ada", "Nothing was changed"}} {
		form := url.Values{"key": {"ada\t2026-03-01"}, "seen": {seen()}}
		for k, v := range ada {
			form[k] = v
		}
		if form[bad.name] = []string{bad.value}; bad.value == "" {
			delete(form, bad.name)
		}
		if w := s.post(path, form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), bad.said) || !strings.Contains(w.Body.String(), `value="31.25"`) {
			t.Errorf("%+v: have %d %s", bad, w.Code, w.Body)
		}
	}
	for then, begins := range map[string]string{"": "<h1>Time off</h1>", "start": "<h1>Welcome</h1>"} {
		if w := s.post(path, url.Values{"name": {"ADA"}, "weekly_hours": {"40"}, "then": {then}}); w.Code != http.StatusUnprocessableEntity ||
			!strings.Contains(w.Body.String(), "Ada is on the crew already from Sunday, March 1, 2026") || !strings.Contains(w.Body.String(), begins) {
			t.Errorf("twice at a time: have %d %s", w.Code, w.Body)
		}
	}
	old := seen()
	change := func(step string, code int, form url.Values) {
		t.Helper()
		form.Set("step", step)
		if w := s.post(path, form); w.Code != code {
			t.Errorf("%s: have %d %s", step, w.Code, w.Body)
		}
	}
	change("", 303, url.Values{"key": {"ada\t2026-03-01"}, "seen": {old}, "weekly_hours": {"40"}, "skills": {"all"}, "skill": {"plumbing"}, "from": {"2026-03-01"}})
	if p := one(); p.Skills != nil || p.WeeklyHours != 40 || p.HourlyCost.Valid {
		t.Errorf("have %+v", p)
	}
	if text := s.get(at).Body.String(); !strings.Contains(text, "can do from Roof A/C to all kinds of work") {
		t.Errorf("the last change isn't said: %s", text)
	}
	change("leave", 409, url.Values{"key": {"ada\t2026-03-01"}, "seen": {old}})
	change("before", 303, url.Values{"key": {"ada\t2026-03-01"}, "seen": {seen()}})
	if p := one(); p.WeeklyHours != 36.5 || len(p.Skills) != 1 {
		t.Errorf("taken back: have %+v", p)
	}
	change("leave", 303, url.Values{"key": {"ada\t2026-03-01"}, "seen": {seen()}})
	if w := s.get(at); w.Code != 404 {
		t.Errorf("off the crew, the page is %d", w.Code)
	}
	change("return", 409, url.Values{"key": {"nobody\t"}})
	change("return", 303, url.Values{"key": {"ada\t2026-03-01"}})
	if p := one(); p.WeeklyHours != 36.5 {
		t.Errorf("put back: have %+v", p)
	}
	if b, err := s.db.Undo(t.Context(), s.now); err != nil || !b.ByHand || b.File != "Ada on the crew" {
		t.Errorf("undo: have %+v, %v", b, err)
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "changed Ada on the crew: hours a week from 36.5 to 40; can do from Roof A/C to all kinds of work") {
		t.Error("nobody wrote down who changed what")
	}
}

// Beside each spell of time off stands the plan's word on it.
func TestWordOnTimeOff(t *testing.T) {
	ada := ingest.Absence{Name: "Ada", From: 20800, Until: 20804}
	advice := []report.Advice{{Do: capacity.ApproveTimeOff, From: 20800, Until: 20804}, {Do: capacity.ApproveTimeOff, Who: "Bo", From: 20800, Until: 20804}, {Do: capacity.HoldTimeOff, Who: "Ada", From: 20900, Until: 20904}}
	if have := wordOn(advice, ada); have != "" {
		t.Errorf("have %q", have)
	}
	for want, a := range map[string]report.Advice{
		"fine: the crew can spare it":                                          {Do: capacity.ApproveTimeOff},
		"better moved to November 30 to December 13, or to March 1 to March 7": {Do: capacity.HoldTimeOff, Offer: []string{"November 30 to December 13", "March 1 to March 7"}},
		"better not: too few hours then":                                       {Do: capacity.HoldTimeOff},
	} {
		a.Who, a.From, a.Until = "ada", 20802, 20804 // begun before the plan does
		if have := wordOn(append(advice, a), ada); have != want {
			t.Errorf("want %q, have %q", want, have)
		}
	}
}
