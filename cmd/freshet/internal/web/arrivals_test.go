package web

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/ingest/store"
)

// upload chooses a file on the page of the records, and gives where it goes on.
func (s *groupSite) upload(name, text string) *httptest.ResponseRecorder {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	m.WriteField("token", tokenField.FindStringSubmatch(s.ask("GET", "/records", nil).Body.String())[1])
	f, err := m.CreateFormFile("file", name)
	if err != nil {
		s.t.Fatal(err)
	}
	io.WriteString(f, text)
	m.Close()
	r := httptest.NewRequest("POST", "http://127.0.0.1:8137/import", &b)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.AddCookie(&http.Cookie{Name: "freshet", Value: s.cookie})
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// beside gives another process's pages of the same group, for the same browser.
func (s *groupSite) beside(now time.Time) *groupSite {
	s.t.Helper()
	pages, err := NewGroup(s.t.Context(), GroupConfig{Group: s.g, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return now },
		Anew: func(string) {}, Working: func(context.Context, string) bool { return false }, Test: func(context.Context, string) error { return nil }})
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(pages.Close)
	return &groupSite{Group: pages, t: s.t, g: s.g, cookie: s.cookie}
}

// A file that was chosen at one server is looked at, confirmed and read of at
// another, and stopped there; of another shop's files nothing is shown.
func TestFileAcrossServers(t *testing.T) {
	one := openGroup(t)
	one.logIn("pat")
	one.choose("east")
	two := one.beside(one.Now())
	at := one.upload("more.csv", "ro_number,dropped_off\n78,3/4/2026\n79,5/6/2026\n").Header().Get("Location")
	if w := two.ask("GET", at, nil); !says(w, 200, "This is what would be taken in.") {
		t.Fatalf("the other server: have %d %s", w.Code, w.Body)
	}
	columns := url.Values{"column.0": {"ro_number"}, "column.1": {"dropped_off"}}
	if w := two.post("/records", at, columns); w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("dates of two meanings: have %d %s", w.Code, w.Body)
	}
	columns.Set("dates", "dmy")
	if w := one.post("/records", at, columns); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	page := ""
	for page = "being taken in"; strings.Contains(page, "being taken in") && t.Context().Err() == nil; time.Sleep(10 * time.Millisecond) {
		page = two.ask("GET", at, nil).Body.String()
	}
	if !strings.Contains(page, "of which 2 added") {
		t.Errorf("have %s", page)
	}
	if w := two.post("/records", at, columns); w.Code != http.StatusSeeOther { // sent once more: taken once
		t.Errorf("have %d %s", w.Code, w.Body)
	}
	db, err := one.g.Open(t.Context(), "east")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if b, err := db.Batches(t.Context(), 9); err != nil || len(b) != 2 || b[0].File != "more.csv" {
		t.Errorf("want the file taken in once, have %+v, %v", b, err)
	}

	waits := one.upload("west.csv", "ro_number,dropped_off\n80,2026-11-02\n").Header().Get("Location")
	if err := one.g.SetMember(t.Context(), "pat", "west", "owner"); err != nil {
		t.Fatal(err)
	}
	two.choose("west")
	for _, path := range []string{waits, waits + "/progress"} {
		if w := two.ask("GET", path, nil); w.Code != http.StatusNotFound {
			t.Errorf("%s: the other shop's owner reads %d %s", path, w.Code, w.Body)
		}
	}
	for _, path := range []string{waits, waits + "/cancel"} {
		if w := two.post("/records", path, url.Values{}); w.Code != http.StatusNotFound {
			t.Errorf("%s: the other shop's owner gets %d", path, w.Code)
		}
	}
	two.choose("east")
	if w := two.post("/records", waits+"/cancel", url.Values{}); w.Code != http.StatusSeeOther || one.ask("GET", waits, nil).Code != http.StatusNotFound {
		t.Errorf("given up at one server: have %d, and %d at the other", w.Code, one.ask("GET", waits, nil).Code)
	}
}

// Files that wait for a word are kept for a day, so many of a shop and no more,
// and none that is too large.
func TestFilesThatWaitInAGroup(t *testing.T) {
	s := openGroup(t)
	s.logIn("pat")
	s.choose("east")
	var first string
	for i := range mostArrivals {
		w := s.upload("a.csv", "ro_number,dropped_off\n1,2026-11-02\n")
		if w.Code != http.StatusSeeOther {
			t.Fatalf("file %d: have %d %s", i+1, w.Code, w.Body)
		}
		if i == 0 {
			first = w.Header().Get("Location")
		}
	}
	if w := s.upload("b.csv", "x,y\n1,2\n"); !says(w, 429, "Too many files are on their way in.") {
		t.Errorf("have %d %s", w.Code, w.Body)
	}
	later := s.beside(s.Now().Add(24*time.Hour + time.Second))
	if w := later.upload("c.csv", "x,y\n1,2\n"); w.Code != http.StatusSeeOther {
		t.Errorf("a day later: have %d %s", w.Code, w.Body)
	}
	if w := later.ask("GET", first, nil); w.Code != http.StatusNotFound {
		t.Errorf("the first one is still there: %d", w.Code)
	}
	if w := later.upload("large.csv", strings.Repeat("1234567\n", store.MostHandedIn/8+1)); !says(w, 413, "This file has 65 MB, and the pages take 64.") {
		t.Errorf("have %d %s", w.Code, w.Body)
	}
}

// A file whose process ended while it took it in is to be had again after a
// minute, at another.
func TestFileOfALostProcess(t *testing.T) {
	for name, kept := range map[string]func(*testing.T) arrivals{
		"in a group": func(t *testing.T) arrivals { return inGroup{openGroup(t).g, "east"} },
		"in a folder": func(t *testing.T) arrivals {
			f := &inFolder{here: map[string]*inFile{}}
			t.Cleanup(f.close)
			return f
		},
	} {
		t.Run(name, func(t *testing.T) {
			ctx, now := t.Context(), time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
			all := kept(t)
			if ok, err := all.add(ctx, arrival{ID: "1", Name: "a.csv", At: now}, strings.NewReader("abc")); !ok || err != nil {
				t.Fatal(ok, err)
			}
			var won atomic.Int32
			begin := func(at time.Time) {
				if _, err := all.change(ctx, "1", func(a *arrival) error {
					if !a.taking(at) {
						a.Taking, a.Alive = true, at
						won.Add(1)
					}
					return nil
				}); err != nil {
					t.Error(err)
				}
			}
			done := make(chan struct{})
			for range 5 {
				go func() { begin(now); done <- struct{}{} }()
			}
			for range 5 {
				<-done
			}
			if begin(now.Add(lost - time.Second)); won.Load() != 1 {
				t.Errorf("want one to take it in, have %d", won.Load())
			}
			if begin(now.Add(lost)); won.Load() != 2 {
				t.Errorf("want another to after a minute, have %d in all", won.Load())
			}
			if file, size, err := all.open(ctx, "1"); err != nil || size != 3 {
				t.Errorf("have %d bytes, %v", size, err)
			} else {
				file.Close()
			}
			if _, err := all.change(ctx, "1", func(a *arrival) error { a.Ended = true; return nil }); err != nil {
				t.Error(err)
			}
			if file, _, err := all.open(ctx, "1"); err == nil {
				file.Close()
				t.Error("its content is still there though it has ended")
			}
		})
	}
}

// What is changed at one server has answers made anew at the others too.
func TestAnswersAcrossServers(t *testing.T) {
	one := openGroup(t)
	two := one.beside(one.Now())
	ctx := t.Context()
	made := 0
	count := question[int]{"count", 1, false, func(context.Context, *desk.Desk, desk.Ask) (int, error) { made++; return made, nil }}
	asked := func(s *groupSite) int {
		t.Helper()
		shop, err := s.shop(ctx, "east")
		if err != nil {
			t.Fatal(err)
		}
		n, err := answer(ctx, shop, count)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if first, again := asked(two), asked(two); first != 1 || again != 1 {
		t.Fatalf("want one answer made, have %d and %d", first, again)
	}
	one.logIn("pat")
	one.choose("east")
	if w := one.post("/settings", "/settings/limits", url.Values{"fill-weeks": {"9"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d", w.Code)
	}
	if n := asked(two); n != 2 {
		t.Errorf("the other server still gives answer %d", n)
	}
}
