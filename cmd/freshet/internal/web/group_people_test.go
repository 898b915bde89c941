package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"
)

// What is typed of the crew, its skills and its time off is kept in PostgreSQL
// as in a file: put on, changed, and taken back, each as a batch.
func TestPeopleInAGroup(t *testing.T) {
	s := openGroup(t)
	s.logIn("pat")
	s.choose("east")
	db, err := s.g.Open(t.Context(), "east")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	send := func(from, path string, form url.Values) {
		t.Helper()
		if w := s.post(from, path, form); w.Code != http.StatusSeeOther {
			t.Fatalf("%s: have %d %s", path, w.Code, w.Body)
		}
	}
	crew := func(hours float64, skills ...string) {
		t.Helper()
		all, err := db.Crew(t.Context())
		if err != nil || len(all) != 1 || all[0].WeeklyHours != hours || !slices.Equal(all[0].Skills, skills) {
			t.Errorf("want %v hours and skills %q, have %+v, %v", hours, skills, all, err)
		}
	}
	send("/time-off", "/time-off/person", url.Values{"name": {"Ada"}, "weekly_hours": {"36.5"}, "skills": {"some"}, "skill": {"brakes"}, "from": {"2026-03-01"}})
	crew(36.5, "brakes")
	at := "/time-off/person?" + url.Values{"key": {"ada\t2026-03-01"}}.Encode()
	_, seen, _ := strings.Cut(s.ask("GET", at, nil).Body.String(), `name="seen" value="`)
	seen, _, _ = strings.Cut(seen, `"`)
	send(at, "/time-off/person", url.Values{"key": {"ada\t2026-03-01"}, "seen": {seen}, "name": {"Ada"}, "weekly_hours": {"30"}, "skills": {"all"}, "from": {"2026-03-01"}})
	crew(30)
	send("/time-off", "/time-off", url.Values{"name": {"Ada"}, "from": {"2026-12-07"}, "until": {"2026-12-11"}})
	if off, err := db.Absences(t.Context()); err != nil || len(off) != 1 || off[0].Name != "Ada" || off[0].Until.String() != "2026-12-11" {
		t.Errorf("have %+v, %v", off, err)
	}
	batches, err := db.Batches(t.Context(), 9)
	if err != nil || len(batches) != 4 { // the jobs, and what was typed
		t.Fatalf("have %+v, %v", batches, err)
	}
	for range 2 {
		if _, err := db.Undo(t.Context(), s.Now().Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	crew(36.5, "brakes")
	if off, err := db.Absences(t.Context()); err != nil || len(off) != 0 {
		t.Errorf("have %+v, %v", off, err)
	}
}
