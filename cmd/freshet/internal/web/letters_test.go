package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
)

// The page says how it is with each letter, above all of those that a person
// has to see to, and the owner can send one again and pause them all.
func TestLetters(t *testing.T) {
	s := open(t)
	s.keep("Quillback")
	ctx := t.Context()
	for _, l := range []struct {
		purpose string
		ends    []store.LetterState
		want    string
	}{
		{"weekly/2026-W45/owner", []store.LetterState{store.Refused}, "was refused for good: no such <em>user</em>"},
		{"weekly/2026-W46/owner", []store.LetterState{store.Sent}, "was taken by the mail server<"},
		{"weekly/2026-W47/owner", []store.LetterState{store.Unknown, store.Unknown}, "may have arrived, twice even: no such <em>user</em>"},
		{"weekly/2026-W49/owner", []store.LetterState{store.Unknown, store.Sent}, "may have arrived twice<"},
		{"weekly/2026-W50/owner", []store.LetterState{store.Waiting}, "will be tried again: no such"},
		{"weekly/2026-W48/owner", []store.LetterState{store.Unknown}, "may have arrived, and goes out once more: no such"},
		{"weekly/2026-W51/owner", nil, "waits to be sent"},
	} {
		if ok, err := s.db.PutLetter(ctx, store.Letter{Purpose: l.purpose, Recipient: l.purpose, Subject: "the week", Message: []byte("m"), Due: s.now, MadeAt: s.now}); err != nil || !ok {
			t.Fatal(ok, err)
		}
		for i, end := range l.ends {
			at := s.now.Add(time.Duration(i) * time.Hour)
			c, ok, err := s.db.ClaimLetter(ctx, "test", at, time.Minute)
			if err != nil || !ok || c.Purpose != l.purpose {
				t.Fatalf("%s: have %+v, %v", l.purpose, c, err)
			}
			if end != store.Waiting && end != store.Refused {
				if err := s.db.SendingLetter(ctx, c.ID, "test"); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := s.db.EndLetter(ctx, c.ID, "test", store.LetterEnd{State: end, Said: "no such <em>user</em>", Due: at.Add(240 * time.Hour)}, at); err != nil {
				t.Fatal(err)
			}
		}
		_, row, _ := strings.Cut(s.get("/report").Body.String(), "<td>"+l.purpose+"</td>")
		row, _, _ = strings.Cut(row, "</tr>")
		row = strings.NewReplacer("&lt;", "<", "&gt;", ">").Replace(row)
		if !strings.Contains(row, l.want) {
			t.Errorf("%s: want %q, have %s", l.purpose, l.want, row)
		}
	}
	again := func(id string) int { return s.post("/letters/again", url.Values{"letter": {id}}).Code }
	all, err := s.db.Letters(ctx, 100)
	if err != nil {
		t.Fatal(err)
	}
	refused := strconv.FormatInt(all[len(all)-1].ID, 10)
	if w := s.post("/letters/pause", url.Values{"paused": {"yes"}}); w.Code != http.StatusSeeOther || again(refused) != http.StatusConflict {
		t.Errorf("want letters paused, and none sent again meanwhile: %d", w.Code)
	}
	if paused, err := s.db.Setting(ctx, week.SettingPaused, ""); paused == "" || err != nil || !strings.Contains(s.get("/report").Body.String(), "Letters are paused") {
		t.Errorf("want it kept and said, have %q, %v", paused, err)
	}
	s.post("/letters/pause", nil)
	for id, want := range map[string]int{refused: http.StatusSeeOther, "999": http.StatusNotFound, "x": http.StatusBadRequest} {
		if have := again(id); have != want {
			t.Errorf("letter %s again: want %d, have %d", id, want, have)
		}
	}
	if more, err := s.db.Letters(ctx, 100); err != nil || len(more) != len(all)+1 || more[0].State != store.Waiting {
		t.Errorf("want one letter more, have %d after %d, %v", len(more), len(all), err)
	}
	if w := s.post("/settings/mail/test", nil); w.Code != http.StatusBadGateway || !strings.Contains(w.Body.String(), "no mail server is set") {
		t.Errorf("want to be told why the test letter did not go out, have %d", w.Code)
	}
}

// The watched folder is chosen in the settings, and what became of its files,
// and of the week's work, is shown to the owner.
func TestFolderAndFailures(t *testing.T) {
	s := open(t)
	s.keep("Quillback")
	dir := t.TempDir()
	if w := s.post("/settings/folder", url.Values{"folder": {dir + "/nowhere"}}); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("want a folder that isn't there refused, have %d", w.Code)
	}
	if w := s.post("/settings/folder", url.Values{"folder": {`"` + dir + `"`}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	for _, f := range []store.FolderFile{{Name: "odd.csv", State: store.FolderLeft, Said: "since nobody knows", At: s.now}, {Name: "good.csv", State: store.FolderTaken, Said: "9 rows", At: s.now}} {
		if err := s.db.SetFolderFile(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.db.SetFailure(t.Context(), store.Failure{Step: "The report", Said: "it <em>broke</em>", At: s.now}); err != nil {
		t.Fatal(err)
	}
	for path, wants := range map[string][]string{"/": {"The report: it &lt;em&gt;broke"}, "/records": {"The report: it &lt;em&gt;broke", dir, "odd.csv", "was left where it is, since nobody knows", "is in. 9 rows"}, "/settings": {dir}} {
		text := s.get(path).Body.String()
		for _, want := range wants {
			if !strings.Contains(text, want) {
				t.Errorf("%s: want %q", path, want)
			}
		}
	}
	s.lock()
	s.logIn(counter, countersWords)
	if text := s.get("/").Body.String(); strings.Contains(text, "broke") {
		t.Error("the counter is told of what is the owner's to see to")
	}
}

// An evening in the shop is another day in Greenwich: times are the shop's.
func TestTimesAreTheShops(t *testing.T) {
	s := open(t)
	s.keep("Quillback")
	if err := s.db.Set(t.Context(), desk.SettingZone, "America/Denver"); err != nil {
		t.Fatal(err)
	}
	s.now = time.Date(2026, 11, 26, 5, 8, 0, 0, time.UTC)
	s.takeInText("jobs.csv", "drop-offs", "ro_number,dropped_off\n1,2026-11-02\n")
	if err := s.db.SetFolderFile(t.Context(), store.FolderFile{Name: "odd.csv", State: store.FolderLeft, At: s.now}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.db.SetFailure(t.Context(), store.Failure{Step: "The report", Said: "it broke", At: s.now}); err != nil {
		t.Fatal(err)
	}
	s.post("/settings/folder", url.Values{"folder": {t.TempDir()}})
	for path, want := range map[string]string{"/records": "November 25, 2026", "/": "(since November 25)", "/settings": "November 25, 22:08"} {
		if text := s.get(path).Body.String(); !strings.Contains(text, want) || strings.Contains(text, "November 26") {
			t.Errorf("%s: want %q, have %s", path, want, text)
		}
	}
}

// Ready is one thing, alive another.
func TestReady(t *testing.T) {
	s := open(t)
	is := func(path string, want int) {
		t.Helper()
		if w := s.get(path); w.Code != want || strings.Contains(w.Body.String(), s.db.Path()) {
			t.Errorf("%s: want %d, have %d %s", path, want, w.Code, w.Body)
		}
	}
	is("/readyz", 200)
	beat := s.now
	s.Beat = func() time.Time { return beat }
	s.now = s.now.Add(slow + time.Second)
	is("/readyz", http.StatusServiceUnavailable)
	is("/healthz", 200)
	beat = s.now
	is("/readyz", 200)
	if err := s.db.Close(); err != nil {
		t.Fatal(err)
	}
	if err := s.Store.Ready(t.Context()); err == nil {
		t.Error("want a closed database not ready")
	}
}
