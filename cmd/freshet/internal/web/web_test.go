package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/report"
)

// site is the pages of a shop under test, and one browser that looks at them.
type site struct {
	*Server
	t      testing.TB
	db     *store.Store
	cookie string
	now    time.Time
	made   atomic.Int32 // reports asked for
}

const home = "localhost:8137"

func open(t testing.TB) *site {
	t.Helper()
	db, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	s := &site{t: t, db: db, now: time.Date(2026, 11, 23, 15, 0, 0, 0, time.UTC)}
	s.Server = New(Config{Store: db, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return s.now },
		Anew: func() { s.made.Add(1) }, Working: func() bool { return false },
		Demo: func(ctx context.Context) (*store.Store, error) {
			db, err := store.Open(ctx, filepath.Join(t.TempDir(), "demo.db"))
			if err != nil {
				return nil, err
			}
			return db, db.Set(ctx, desk.SettingDemo, "yes")
		},
		Test: func(context.Context) error { return errors.New("no mail server is set") }, Beat: func() time.Time { return s.now }})
	t.Cleanup(func() { s.Server.Close(); db.Close() })
	return s
}

// ask sends a request from this machine, with the browser's cookie.
func (s *site) ask(method, path string, body io.Reader, change ...func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+home+"/", body)
	u, err := url.Parse(path)
	if err != nil {
		u = &url.URL{Path: path}
	}
	r.URL.Path, r.URL.RawQuery = u.Path, u.RawQuery
	r.RemoteAddr = "127.0.0.1:50000"
	if s.cookie != "" {
		r.AddCookie(&http.Cookie{Name: "freshet", Value: s.cookie})
	}
	for _, c := range change {
		c(r)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

func (s *site) get(path string) *httptest.ResponseRecorder { return s.ask("GET", path, nil) }

// post sends a form with a good token.
func (s *site) post(path string, form url.Values, change ...func(*http.Request)) *httptest.ResponseRecorder {
	if form == nil {
		form = url.Values{}
	}
	if !form.Has("token") {
		form.Set("token", s.formToken())
	}
	return s.ask("POST", path, strings.NewReader(form.Encode()), append([]func(*http.Request){func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", "http://"+home)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}}, change...)...)
}

// formToken takes the token out of a form on a page.
func (s *site) formToken() string {
	for _, path := range []string{"/settings", "/", "/login"} {
		if _, rest, ok := strings.Cut(s.get(path).Body.String(), `name="token" value="`); ok {
			token, _, _ := strings.Cut(rest, `"`)
			return token
		}
	}
	s.t.Fatal("no form has a token")
	return ""
}

const (
	ownersWords   = "glacier trombone ladder"
	countersWords = "walnut harbor thimble"
)

// logIn logs in and keeps the cookie.
func (s *site) logIn(as role, words string) *httptest.ResponseRecorder {
	w := s.post("/login", url.Values{"role": {as.String()}, "passphrase": {words}})
	s.take(w)
	return w
}

func (s *site) take(w *httptest.ResponseRecorder) {
	for _, c := range w.Result().Cookies() {
		if c.Name == "freshet" {
			s.cookie = c.Value
		}
	}
}

// lock sets both passphrases, and leaves the browser without a cookie.
func (s *site) lock() {
	s.t.Helper()
	w := s.post("/settings/access", url.Values{"owner": {ownersWords}, "owner.again": {ownersWords}, "counter": {countersWords}, "counter.again": {countersWords}})
	if w.Code != http.StatusSeeOther {
		s.t.Fatalf("the passphrases are refused: %d %s", w.Code, w.Body)
	}
	s.cookie = ""
}

// keep stores a report in which the shop's name and a kind are text, with a
// price that only the owner may see, and a file named by it.
func (s *site) keep(text string) {
	t := s.t
	t.Helper()
	cost := 98765.0
	sp := forecast.Spread{Mean: 5, P10: 2, P50: 5, P80: 7, P90: 9}
	r := report.Build(report.Facts{Shop: text, AsOf: 20780, ThisWeek: report.Week{Monday: 20780, DropOffs: sp, Hours: sp},
		Weeks:  []report.Week{{Monday: 20780, DropOffs: sp, Hours: sp}, {Monday: 20787, DropOffs: sp, Hours: sp}},
		Season: []report.Point{{Monday: 20780, Expected: sp}}, Kinds: []report.Kind{{Name: text, NextFour: sp, NextHours: sp}}, Warnings: []string{text},
		Advice: []report.Advice{{Do: capacity.Overtime, From: 20787, Until: 20791, DecideBy: 20785, Hours: 9, Cost: &cost, Why: "It costs $98,765."}}})
	j, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.db.KeepRun(context.Background(), store.Run{AsOf: 20780, DataUntil: 20779, MadeAt: "2026-11-23T12:00:00Z", Report: j}); err != nil {
		t.Fatal(err)
	}
	s.takeInText(text, "drop-offs", "ro_number,dropped_off,kind,unit,status\n1,2026-11-20,"+quoted(text)+","+quoted(text)+","+quoted(text)+"\n2,"+quoted(text)+",x,x,x\n")
	s.takeInText(text, "crew", "name,weekly_hours\n"+quoted(text)+",40\n")
	s.takeInText(text, "time-off", "name,from,until\n"+quoted(text)+",2026-12-01,2026-12-02\n")
}

func quoted(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }

func (s *site) takeInText(name, kind, text string) {
	s.t.Helper()
	if _, err := s.db.TakeIn(context.Background(), store.HandIn{Name: name, File: strings.NewReader(text), Size: int64(len(text)), As: ingest.RowKind(kind)}, 20781, s.now, nil); err != nil {
		s.t.Fatal(err)
	}
}

func TestEmptyShop(t *testing.T) {
	s := open(t)
	for path, want := range map[string]string{"/": "Name, time zone and week", "/records": "Nothing has been imported yet", "/jobs": "This page shows the jobs", "/report": "This page will show the weekly report"} {
		if w := s.get(path); w.Code != 200 || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: want %q, have %d %s", path, want, w.Code, w.Body)
		}
	}
	if w := s.get("/weekly-report.html"); w.Code != 404 {
		t.Errorf("want no report to keep, have %d", w.Code)
	}
}

// Who may ask for what: a route without a line here fails, as does a line
// without a route.
var allowed = map[string]role{
	"GET /outlook": counter, "GET /watch": counter, "POST /watch": owner, "GET /crew": owner, "GET /crew/answer": owner,
	"GET /quote": counter, "GET /quote/{id}/slip": counter, "GET /quote/answer": counter, "POST /quote": counter,
	"GET /{$}": counter, "GET /jobs": counter, "GET /working": counter, "GET /guide": counter, "POST /logout": counter,
	"GET /jobs/line": owner, "POST /jobs/line": owner, "GET /kinds": owner, "POST /kinds": owner, "GET /time-off": owner, "POST /time-off": owner, "POST /time-off/holiday": owner, "GET /time-off/person": owner, "POST /time-off/person": owner, "GET /records": owner, "POST /records/undo": owner, "GET /records/{batch}/rejected.csv": owner,
	"POST /import": owner, "GET /import/{id}": owner, "POST /import/{id}": owner, "GET /import/{id}/progress": owner, "POST /import/{id}/cancel": owner,
	"GET /report": owner, "GET /weekly-report.html": owner, "GET /settings": owner, "POST /settings/shop": owner, "POST /settings/limits": owner,
	"POST /settings/mail": owner, "POST /settings/mail/test": owner, "POST /settings/access": owner, "POST /settings/folder": owner, "POST /letters/again": owner, "POST /letters/pause": owner, "POST /demo": owner, "POST /demo/leave": owner,
	"GET /login": anyone, "POST /login": anyone, "GET /healthz": anyone, "GET /readyz": anyone, "GET /assets/{name}": anyone, "/": anyone,
}

// example gives a path of a route.
func (r route) example() string {
	p := strings.NewReplacer("{$}", "", "{batch}", "1", "{id}", "0123", "{name}", strings.TrimPrefix(assetURL("style.css"), "/assets/")).Replace(r.path)
	if p == "/" && r.method == "" {
		return "/nowhere"
	}
	return p
}

// Every route, asked for by nobody, with a made-up session, by the counter and
// by the owner: only who may gets through, and every answer has the headers.
func TestRoles(t *testing.T) {
	s := open(t)
	s.keep("Quillback Bend")
	s.lock()
	cookies := map[string]string{"nobody": "", "made up": "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"}
	for who, words := range map[role]string{counter: countersWords, owner: ownersWords} {
		s.cookie = ""
		if w := s.logIn(who, words); w.Code != http.StatusSeeOther {
			t.Fatalf("the %s isn't let in: %d", who, w.Code)
		}
		cookies[who.String()] = s.cookie
	}
	missing := maps.Clone(allowed)
	for _, rt := range s.routes() {
		least, ok := allowed[rt.pattern()]
		if !ok {
			t.Errorf("%s: who may ask for it isn't said in this test's table", rt.pattern())
			continue
		}
		delete(missing, rt.pattern())
		method := rt.method
		if method == "" {
			method = "GET"
		}
		for who, is := range map[string]role{"nobody": anyone, "made up": anyone, "counter": counter, "owner": owner} {
			if rt.path == "/logout" || rt.path == "/settings/access" && is == owner || rt.path == "/demo" && is == owner {
				continue // they change what is tested
			}
			s.cookie = cookies[who]
			var w *httptest.ResponseRecorder
			if method == "POST" { // without a token: whoever may is stopped there, and changes nothing
				w = s.post(rt.example(), url.Values{"token": {"none"}})
			} else {
				w = s.get(rt.example())
			}
			in := w.Code != http.StatusUnauthorized && w.Header().Get("Location") != "/login"
			if in && w.Code == http.StatusForbidden {
				in = strings.Contains(w.Body.String(), "too old")
			}
			if in != (is >= least) {
				t.Errorf("%s by %s: have %d %s", rt.pattern(), who, w.Code, w.Header().Get("Location"))
			}
			text := w.Body.String()
			if is < owner && (strings.Contains(text, "98,765") || strings.Contains(text, "98765") || strings.Contains(text, "Decide by")) {
				t.Errorf("%s by %s: a price or a decision is shown", rt.pattern(), who)
			}
			if is < counter && strings.Contains(text, "Quillback") {
				t.Errorf("%s by %s: the shop's name is shown", rt.pattern(), who)
			}
			if rt.path == "/{$}" && is == owner && !(strings.Contains(text, "98,765") && strings.Contains(text, "Decide by")) {
				t.Error("the owner doesn't see price and decision, so that their absence shows nothing")
			}
			checkHeaders(t, rt.pattern(), w)
		}
	}
	for p := range missing {
		t.Errorf("%s: in this test's table, but no route", p)
	}
}

func checkHeaders(t *testing.T, what string, w *httptest.ResponseRecorder) {
	t.Helper()
	csp := w.Header().Get("Content-Security-Policy")
	if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || w.Header().Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("%s: headers are %v", what, w.Header())
	}
}

// Other hosts and other methods get nothing.
func TestHosts(t *testing.T) {
	s := open(t)
	s.keep("Quillback Bend")
	host := func(name string) func(*http.Request) { return func(r *http.Request) { r.Host = name } }
	for _, rt := range s.routes() {
		for _, name := range []string{"evil.test", "127.0.0.1.evil.test", "", "8.8.8.8:8137", "frontdesk"} {
			w := s.ask("GET", rt.example(), nil, host(name))
			if w.Code != http.StatusMisdirectedRequest || strings.Contains(w.Body.String(), "Quillback") {
				t.Errorf("%s for host %q: have %d", rt.pattern(), name, w.Code)
			}
			checkHeaders(t, rt.pattern(), w)
		}
		for _, method := range []string{"PUT", "DELETE", "PATCH", "OPTIONS"} {
			if w := s.ask(method, rt.example(), nil); w.Code < 400 || strings.Contains(w.Body.String(), "Quillback") {
				t.Errorf("%s %s: have %d", method, rt.path, w.Code)
			}
		}
	}
	for _, name := range []string{"[::1]:8137", "LOCALHOST", "127.0.0.1"} {
		if w := s.ask("GET", "/", nil, host(name)); w.Code != 200 {
			t.Errorf("this machine as %s: have %d", name, w.Code)
		}
	}
	s.lock()
	s.logIn(owner, ownersWords)
	if w := s.post("/settings/access", url.Values{"network": {"yes"}, "hosts": {"Frontdesk"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	for name, want := range map[string]int{"frontdesk:8137": 200, "192.168.1.7:8137": 200, "evil.test": http.StatusMisdirectedRequest} {
		if w := s.ask("GET", "/", nil, host(name)); w.Code != want {
			t.Errorf("on the network, as %s: want %d, have %d", name, want, w.Code)
		}
	}
}

// Without a passphrase only this machine is served; the network can't be
// switched on.
func TestThisMachineAlone(t *testing.T) {
	s := open(t)
	from := func(r *http.Request) {
		r.RemoteAddr = "192.168.1.30:4000"
		r.Header.Set("X-Forwarded-For", "127.0.0.1")
	}
	if w := s.ask("GET", "/settings", nil, from); w.Header().Get("Location") != "/login" {
		t.Errorf("another machine gets the settings: %d", w.Code)
	}
	if w := s.post("/settings/access", url.Values{"network": {"yes"}}); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("the network can be switched on without a passphrase: %d", w.Code)
	}
	if on, err := s.db.Setting(context.Background(), SettingNetwork, ""); on != "" || err != nil {
		t.Errorf("have %q, %v", on, err)
	}
}

// records gives everything that a change could change.
func (s *site) everything() string {
	s.t.Helper()
	ctx := context.Background()
	var b strings.Builder
	batches, err := s.db.Batches(ctx, 1000)
	changes, err2 := s.db.Changes(ctx, 1000)
	if err := errors.Join(err, err2); err != nil {
		s.t.Fatal(err)
	}
	for _, name := range []string{desk.SettingName, desk.SettingZone, desk.SettingOpen, SettingNetwork, settingHosts, "mail to"} {
		v, err := s.db.Setting(ctx, name, "-")
		if err != nil {
			s.t.Fatal(err)
		}
		b.WriteString(v + "\n")
	}
	_, set, err := s.db.Passphrase(ctx, "owner")
	if err != nil {
		s.t.Fatal(err)
	}
	j, err := json.Marshal([]any{batches, changes, set})
	if err != nil {
		s.t.Fatal(err)
	}
	b.Write(j)
	return b.String()
}

// A change asked for by another site's page, or without the form's own token,
// is refused, and changes nothing; nor does any GET.
func TestForgery(t *testing.T) {
	s := open(t)
	s.keep("Quillback Bend")
	s.lock()
	s.logIn(owner, ownersWords)
	mine := s.cookie
	good := s.formToken()
	s.cookie = ""
	s.logIn(owner, ownersWords)
	foreign := s.formToken()
	s.cookie = mine
	before := s.everything()
	form := func(token string) url.Values {
		return url.Values{"token": {token}, "name": {"Crow's"}, "zone": {"America/Denver"}, "open.mon": {"1"}, "from": {"2026-12-01"}, "batch": {"3"}, "owner": {"mischief managed again"}, "owner.again": {"mischief managed again"}}
	}
	header := func(name, v string) func(*http.Request) {
		return func(r *http.Request) {
			r.Header.Del("Sec-Fetch-Site")
			r.Header.Set(name, v)
		}
	}
	tried := 0
	for _, rt := range s.routes() {
		if rt.method == "GET" {
			s.get(rt.example() + "?name=x&from=2026-12-01&owner=x")
			continue
		}
		if rt.method != "POST" {
			continue
		}
		for what, w := range map[string]*httptest.ResponseRecorder{
			"cross-site":     s.post(rt.example(), form(good), header("Sec-Fetch-Site", "cross-site")),
			"same-site":      s.post(rt.example(), form(good), header("Sec-Fetch-Site", "same-site")),
			"foreign origin": s.post(rt.example(), form(good), header("Origin", "http://evil.test")),
			"null origin":    s.post(rt.example(), form(good), header("Origin", "null")),
			"no token":       s.post(rt.example(), form("")),
			"bad token":      s.post(rt.example(), form("AAAA"+good[4:])),
			"foreign token":  s.post(rt.example(), form(foreign)),
		} {
			tried++
			if w.Code != http.StatusForbidden {
				t.Errorf("%s, %s: want 403, have %d %s", rt.path, what, w.Code, w.Body)
			}
			checkHeaders(t, rt.path, w)
		}
	}
	if tried < 7*10 {
		t.Errorf("only %d were tried", tried)
	}
	if after := s.everything(); after != before {
		t.Errorf("something was changed:\n%s\n%s", before, after)
	}
	if w := s.post("/settings/shop", form(good)); w.Code != http.StatusSeeOther || s.everything() == before {
		t.Errorf("the good token changes nothing, so that the test shows nothing: %d %s", w.Code, w.Body)
	}
}

// A session's ID is new at the login, dies with the logout, with a new
// passphrase, and a made-up one is never taken.
func TestSession(t *testing.T) {
	s := open(t)
	s.lock()
	const own = "BBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBB"
	s.cookie = own
	w := s.logIn(owner, ownersWords)
	if s.cookie == own || w.Code != http.StatusSeeOther {
		t.Fatalf("the client's own ID is taken: %d", w.Code)
	}
	c := w.Result().Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode {
		t.Errorf("have %v", c)
	}
	first := s.cookie
	if w := s.logIn(owner, ownersWords); s.cookie == first || w.Code != http.StatusSeeOther {
		t.Error("the ID stays at the second login")
	}
	in := func(cookie string) bool {
		s.cookie = cookie
		return s.get("/settings").Code == 200
	}
	second := s.cookie
	if in(first) || !in(second) {
		t.Error("the old ID still opens the pages, or the new one doesn't")
	}
	if w := s.post("/logout", nil); w.Code != http.StatusSeeOther || in(second) {
		t.Errorf("the ID opens the pages after the logout: %d", w.Code)
	}
	s.cookie = ""
	s.logIn(counter, countersWords)
	atCounter := s.cookie
	s.cookie = ""
	s.logIn(owner, ownersWords)
	old := s.cookie
	s.now = s.now.Add(time.Minute)
	w = s.post("/settings/access", url.Values{"owner": {"another good sentence"}, "owner.again": {"another good sentence"}})
	s.take(w)
	if !in(s.cookie) || in(old) {
		t.Error("a new passphrase must log others out, and not who set it")
	}
	s.cookie = atCounter
	if s.get("/").Code != 200 {
		t.Error("the owner's new passphrase logs the counter out")
	}
}

// Guesses from one address are held back after five; a right one from elsewhere
// is let in at once; what a proxy says of the address counts for nothing.
func TestGuesses(t *testing.T) {
	s := open(t)
	s.lock()
	from := func(ip string) func(*http.Request) {
		return func(r *http.Request) {
			r.RemoteAddr = ip + ":4000"
			r.Header.Set("X-Forwarded-For", "10.0.0."+ip[len(ip)-1:])
		}
	}
	guess := func(words, ip string) *httptest.ResponseRecorder {
		token := s.formToken()
		return s.post("/login", url.Values{"token": {token}, "role": {"owner"}, "passphrase": {words}}, from(ip), func(r *http.Request) {
			r.Header.Set("X-Forwarded-For", words) // another one each time
		})
	}
	for i := range 5 {
		if w := guess(strings.Repeat("wrong words ", 2)+string(rune('a'+i)), "127.0.0.2"); w.Code != http.StatusUnauthorized {
			t.Fatalf("guess %d: have %d", i, w.Code)
		}
	}
	if w := guess(ownersWords, "127.0.0.2"); w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") == "" {
		t.Errorf("the sixth isn't held back: %d", w.Code)
	}
	if w := guess(ownersWords, "127.0.0.3"); w.Code != http.StatusSeeOther {
		t.Errorf("the right one from elsewhere: %d", w.Code)
	}
	s.now = s.now.Add(2 * time.Second)
	if w := guess(ownersWords, "127.0.0.2"); w.Code != http.StatusSeeOther {
		t.Errorf("the right one after the wait: %d", w.Code)
	}
}

func TestPassphrases(t *testing.T) {
	for p, good := range map[string]bool{"": false, "short": false, "fourteen chars": false, "correct horse battery staple": false, "passwordpassword": false,
		"aaaaaaaaaaaaaaaaaaaa": false, ownersWords: true, strings.Repeat("änderung ", 8): true, strings.Repeat("x y z q w e r ", 40): false} {
		if wrong := weakness(p); (wrong == "") != good {
			t.Errorf("%.40q: have %q", p, wrong)
		}
	}
}

// 60 payloads through every text that a file or a form can bring stay text on
// every page.
func TestInjection(t *testing.T) {
	s := open(t)
	s.keep("harmless")
	for i, payload := range payloads {
		if testing.Short() && i%6 != 0 {
			continue
		}
		s.keep(payload)
		for _, f := range []url.Values{{"name": {payload}, "zone": {"America/Denver"}, "open.mon": {"1"}}, {"name": {payload}, "zone": {payload}, "open.mon": {payload}, "bays": {payload}}} {
			s.post("/settings/shop", f)
		}
		said := s.post("/time-off", url.Values{"name": {payload}, "from": {payload}})
		pages := map[string]string{"time-off's answer": said.Body.String(), "mail's answer": s.post("/settings/mail", url.Values{"to": {payload}, "day": {"1"}, "time": {"06:00"}}).Body.String(),
			"limits' answer": s.post("/settings/limits", url.Values{"worth": {payload}}).Body.String()}
		for _, rt := range s.routes() {
			if rt.method == "GET" && !strings.HasPrefix(rt.path, "/assets") && rt.path != "/weekly-report.html" {
				pages[rt.path] = s.get(rt.example()).Body.String()
			}
		}
		lines, err := s.db.Orders(context.Background(), "1")
		if err != nil || len(lines) == 0 {
			t.Fatal(lines, err)
		}
		for _, l := range lines[len(lines)-1:] {
			at := "/jobs/line?" + url.Values{"key": {l.Key}}.Encode()
			line, _, err := s.db.JobLine(context.Background(), l.Key)
			if err != nil {
				t.Fatal(err)
			}
			pages["a change of a job"] = s.post("/jobs/line", url.Values{"key": {l.Key}, "seen": {string(line.Version)}, "kind": {payload}, "status": {"x" + payload}, "quoted_hours": {payload}, "ready": {payload}}).Body.String()
			if w := s.post("/jobs/line", url.Values{"key": {l.Key}, "seen": {string(line.Version)}, "kind": {payload}, "status": {"y" + payload}}); w.Code != http.StatusSeeOther {
				t.Errorf("%q as a status: have %d %s", payload, w.Code, w.Body)
			}
			pages["a job"], pages["a job not found"] = s.get(at).Body.String(), s.get("/jobs?"+url.Values{"order": {payload}}.Encode()).Body.String()
		}
		id, err := s.db.KeepQuote(context.Background(), store.Quote{GivenAt: s.now, AsOf: 20780, Kind: payload, RO: payload, P50: 20780, P80: 20781, P90: 20782})
		if err != nil {
			t.Fatal(err)
		}
		pages["a slip"], pages["quotes"] = s.get(fmt.Sprintf("/quote/%d/slip", id)).Body.String(), s.get("/quote").Body.String()
		pages["nowhere"] = s.ask("GET", "/"+payload+"?said="+url.QueryEscape(payload), nil).Body.String()
		pages["import"] = s.upload(payload+".csv", "ro_number,dropped_off,"+quoted(payload)+"\n1,2026-11-02,"+quoted(payload)+"\n").Body.String()
		for name, text := range pages {
			if bad := foreign(text); bad != "" {
				t.Errorf("%s: %q stands in the page as %s", name, payload, bad)
			}
		}
		if !strings.Contains(pages["/{$}"], "Before you rely on this") {
			t.Fatal("the home page shows no warnings, so that the test shows nothing")
		}
	}
}

// upload hands a file in and gives the page that it leads to.
func (s *site) upload(name, text string) *httptest.ResponseRecorder {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	m.WriteField("token", s.formToken())
	f, err := m.CreateFormFile("file", name)
	if err != nil {
		s.t.Fatal(err)
	}
	io.WriteString(f, text)
	m.Close()
	w := s.ask("POST", "/import", &b, func(r *http.Request) {
		r.Header.Set("Content-Type", m.FormDataContentType())
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	})
	if w.Code != http.StatusSeeOther {
		return w
	}
	page := s.get(w.Header().Get("Location"))
	page.Header().Set("Location", w.Header().Get("Location"))
	if strings.HasSuffix(name, ".csv") && strings.Contains(name, "<") || len(name) > 40 { // room for the next
		s.post(w.Header().Get("Location")+"/cancel", nil)
	}
	return page
}

// A file comes in: its columns are shown, nothing is taken before the word, and
// then all of it; the report is asked for, and it can be taken back out.
func TestFileComesIn(t *testing.T) {
	s := open(t)
	w := s.upload("odd.csv", "Ticket,Arrived on,Job typ\n1,2026-11-02,cooling\n2,2026-11-03,electrical\n3,no day,electrical\n")
	text := w.Body.String()
	for _, want := range []string{"Arrived on", "cooling · electrical", "Day dropped off", "Take it in"} {
		if !strings.Contains(text, want) {
			t.Fatalf("want %q on the page, have %d %s", want, w.Code, text)
		}
	}
	if b, err := s.db.Batches(context.Background(), 9); len(b) > 0 || err != nil {
		t.Fatal("something was taken in before the word")
	}
	at := w.Header().Get("Location")
	if w := s.post(at, url.Values{"column.0": {"ro_number"}, "column.1": {"ro_number"}}); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "can&#39;t both be") {
		t.Errorf("one field for two columns: have %d", w.Code)
	}
	if w := s.post(at, url.Values{"column.0": {"ro_number"}}); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Still needed: Day dropped off") {
		t.Errorf("without the day: have %d %s", w.Code, w.Body)
	}
	if w := s.post(at, url.Values{"column.0": {"ro_number"}, "column.1": {"dropped_off"}, "column.2": {"kind"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	for range 500 {
		if text = s.get(at).Body.String(); !strings.Contains(text, "being taken in") {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if !strings.Contains(text, "3 rows, of which 2 added") || !strings.Contains(text, "no day") {
		t.Errorf("have %s", text)
	}
	if s.made.Load() != 1 {
		t.Errorf("the report was asked for %d times", s.made.Load())
	}
	b, err := s.db.Batches(context.Background(), 9)
	if err != nil || len(b) != 1 {
		t.Fatal(b, err)
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "freshet-file-*")); slices.ContainsFunc(left, func(f string) bool { b, _ := os.ReadFile(f); return bytes.Contains(b, []byte("Job typ")) }) {
		t.Errorf("the file is left behind: %v", left)
	}
	if w := s.get("/records/1/rejected.csv"); !strings.Contains(w.Body.String(), "no day") {
		t.Errorf("the rejected rows: have %d %s", w.Code, w.Body)
	}
	if w := s.post("/records/undo", url.Values{"batch": {"7"}}); w.Code != http.StatusConflict {
		t.Errorf("another batch than was seen is undone: %d", w.Code)
	}
	if w := s.post("/records/undo", url.Values{"batch": {"1"}}); w.Code != http.StatusSeeOther || s.made.Load() != 2 {
		t.Errorf("undo: have %d, %d reports", w.Code, s.made.Load())
	}
	if text := s.get("/records").Body.String(); !strings.Contains(text, "taken back out") {
		t.Error("the list doesn't say that it was undone")
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "took in odd.csv: 2 added") || !strings.Contains(text, "took odd.csv back out") {
		t.Error("nobody wrote down who changed what")
	}
}

// What is typed takes a file's way in: checked, and on the calendar.
func TestTimeOff(t *testing.T) {
	s := open(t)
	if w := s.post("/time-off/person", url.Values{"name": {"Ada"}, "weekly_hours": {"40"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	if w := s.post("/time-off", url.Values{"name": {"Ada"}, "from": {"2026-12-24"}, "until": {"2026-12-28"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	s.post("/time-off", url.Values{"name": {"shop"}, "from": {"2027-01-01"}})
	for _, bad := range []struct {
		form url.Values
		said string
	}{{url.Values{"name": {"ada"}, "from": {"2026-12-28"}, "until": {"2026-12-24"}}, "The last day, Thursday, December 24, 2026, is before the first, Monday, December 28, 2026."},
		{url.Values{"name": {""}, "from": {"2026-12-24"}}, "is blank"}, {url.Values{"name": {"Ada"}, "from": {"soon"}}, "is not a date"},
		{url.Values{"name": {"Adda"}, "from": {"2026-12-28"}}, "Nobody on the crew is called “Adda”, so that this would change no hours. Do you mean Ada?"},
		{url.Values{"name": {"Zed"}, "from": {"2026-12-28"}}, "Choose a name from the list"}} {
		for then, begins := range map[string]string{"": "<h1>Time off</h1>", "start": "<h1>Welcome</h1>"} {
			bad.form.Set("then", then)
			w := s.post("/time-off", bad.form)
			text := w.Body.String()
			if w.Code != http.StatusUnprocessableEntity || !strings.Contains(text, bad.said) || !strings.Contains(text, begins) {
				t.Errorf("%v: have %d %s", bad.form, w.Code, text)
			}
			if name := bad.form.Get("name"); !strings.Contains(text, `name="name" value="`+name+`"`) {
				t.Errorf("what was typed is lost: %q", name)
			}
		}
	}
	text := s.get("/time-off").Body.String()
	for _, want := range []string{"Thursday, December 24, 2026", `title="Ada"`, "the whole shop", "Friday, January 1, 2027", "40 h"} {
		if !strings.Contains(text, want) {
			t.Errorf("want %q on the page", want)
		}
	}
}

// What is on the calendar is taken out and put back.
func TestTimeOffTakenOut(t *testing.T) {
	s := open(t)
	s.takeInText("off.csv", "time-off", "name,from,until\nAda,2026-12-24,2026-12-28\n")
	key := (&ingest.Absence{Name: "Ada", From: forecast.NewDate(2026, 12, 24)}).Key()
	for _, step := range []struct {
		step, entry string
		code        int
		said        string
		on          bool
	}{{"out", "nobody", 409, "", true}, {"back", key, 409, "", true}, {"out", key, 303, "off the calendar", false}, {"out", key, 409, "", false}, {"back", key, 303, "back on the calendar", true}} {
		w := s.post("/time-off", url.Values{"step": {step.step}, "entry": {step.entry}})
		if w.Code != step.code {
			t.Errorf("%s %q: have %d %s", step.step, step.entry, w.Code, w.Body)
		}
		if step.code == 303 {
			if text := s.get(w.Header().Get("Location")).Body.String(); !strings.Contains(text, step.said) {
				t.Errorf("want %q said", step.said)
			}
		}
		all, err := s.db.Absences(context.Background())
		if err != nil || (len(all) == 1) != step.on {
			t.Errorf("%s %q: have %v, %v", step.step, step.entry, all, err)
		}
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "took time off of Ada from Thursday, December 24, 2026 to Monday, December 28, 2026 off the calendar") {
		t.Error("nobody wrote down who took it out")
	}
}

// The weeks that can spare someone are put together to stretches.
func TestStretches(t *testing.T) {
	week := func(n int, chance float64, spares bool) capacity.Spared {
		return capacity.Spared{Monday: forecast.Date(20780 + 7*n), Chance: chance, Spares: spares}
	}
	have := stretches([]capacity.Spared{week(0, .9, false), week(1, .1, true), week(2, .2, true), week(3, .9, false), week(4, .05, true)})
	want := []stretch{{20787, 20800, 2, .2}, {20808, 20814, 1, .05}}
	if !slices.Equal(have, want) {
		t.Errorf("want %v, have %v", want, have)
	}
}

// The owner changes a job by a person's word; what doesn't do is refused, and
// the last change can be taken back.
func TestJobLine(t *testing.T) {
	s := open(t)
	const file = "ro_number,dropped_off,kind,quoted_hours,status,unit\n4711,2026-11-02,plumbing,2.5,waiting for parts,Tin Lizzy\n4712,2026-11-03,cooling,1,open,\n"
	s.takeInText("jobs.csv", "drop-offs", file)
	key := "4711\tplumbing\t1"
	at := "/jobs/line?" + url.Values{"key": {key}}.Encode()
	line := func() store.JobLine {
		l, _, err := s.db.JobLine(context.Background(), key)
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	form := func(change ...string) url.Values {
		f := url.Values{"key": {key}, "seen": {string(line().Version)}, "kind": {"plumbing"}, "quoted_hours": {"2.5"}, "status": {"waiting for parts"}}
		for i := 0; i < len(change); i += 2 {
			f.Set(change[i], change[i+1])
		}
		return f
	}
	if text := s.get("/jobs?order=4711").Body.String(); strings.Count(text, "/jobs/line?key=4711%09plumbing%091") != 2 {
		t.Errorf("want the job among the open ones and found by its number, have %s", text)
	}
	if text := s.get(at).Body.String(); !strings.Contains(text, "Tin Lizzy") || !strings.Contains(text, `value="2.5"`) {
		t.Errorf("have %s", text)
	}
	for _, x := range []struct {
		form url.Values
		code int
		says string
	}{
		{form(), 422, "Nothing was changed"},
		{form("quoted_hours", "lots"), 422, "quoted hours &#34;lots&#34;"},
		{form("ready", "2026-11-01"), 422, "day ready"},
		{form("ready", "2027-11-01"), 422, "day ready"},
		{form("part_due", "2026-11-01"), 422, "on or after the drop-off on Monday, November 2, 2026"},
		{form("status", "open", "seen", "0123"), 409, "changed meanwhile"},
		{form("key", "4711"), 404, "on record any more"},
		{form("step", "back"), 409, "nothing to take back"},
	} {
		if w := s.post("/jobs/line", x.form); w.Code != x.code || !strings.Contains(w.Body.String(), x.says) {
			t.Errorf("%v: want %d and %q, have %d %s", x.form, x.code, x.says, w.Code, w.Body)
		}
	}
	w := s.post("/jobs/line", form("kind", "electrical", "quoted_hours", "3,5", "status", "part here", "part_due", "2026-11-12", "ready", "2026-11-20"))
	l := line()
	if w.Code != 303 || l.Kind != "electrical" || l.QuotedHours.V != 3.5 || l.Status != "part here" || l.PartsWaitDays.V != 10 || l.Ready.V != forecast.NewDate(2026, 11, 20) || l.Unit != "Tin Lizzy" {
		t.Fatalf("have %d %s, %+v", w.Code, w.Body, l)
	}
	if s.made.Load() != 1 {
		t.Error("the report isn't asked for")
	}
	text := s.get(w.Header().Get("Location")).Body.String()
	for _, want := range []string{"Saved.", "kind of job from plumbing to electrical", "part due from nothing to Thursday, November 12, 2026", "Take this change back"} {
		if !strings.Contains(text, want) {
			t.Errorf("want %q on the page, have %s", want, text)
		}
	}
	s.takeInText("jobs.csv", "drop-offs", file)
	if line().Kind != "electrical" {
		t.Error("an unchanged row takes the change back")
	}
	if w := s.post("/jobs/line", form("step", "back")); w.Code != 303 || line().Kind != "plumbing" || line().Ready.Valid {
		t.Errorf("back: have %d, %+v", w.Code, line())
	}
	out := form("step", "out")
	for _, step := range []struct {
		form url.Values
		code int
		says string
		open int
	}{{form("step", "out", "seen", "another"), 409, "changed meanwhile", 2}, {form("step", "in"), 409, "taken out any more", 2}, {out, 303, "off the records", 1}, {out, 404, "on record any more", 1},
		{url.Values{"key": {key}, "step": {"in"}}, 303, "back on the records", 2}} {
		w := s.post("/jobs/line", step.form)
		text := w.Body.String()
		if w.Code == 303 {
			text = s.get(w.Header().Get("Location")).Body.String()
		}
		if w.Code != step.code || !strings.Contains(text, step.says) {
			t.Errorf("%v: have %d %s", step.form, w.Code, text)
		}
		if step.code == 303 { // the file that it came from is no news
			s.takeInText("jobs.csv", "drop-offs", file)
		}
		if text := s.get("/jobs").Body.String(); !strings.Contains(text, fmt.Sprintf("<p>%d job", step.open)) {
			t.Errorf("%v: want %d open, have %s", step.form, step.open, text)
		}
	}
	if line().Kind != "plumbing" || line().Unit != "Tin Lizzy" {
		t.Errorf("put back as %+v", line())
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "took repair order 4711, plumbing, off the records") {
		t.Error("nobody wrote down who took it out")
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "changed repair order 4711: kind of job from plumbing to electrical; quoted hours from 2.5 to 3.5") {
		t.Error("nobody wrote down who changed what")
	}
	s.lock()
	s.logIn(counter, countersWords)
	if text := s.get("/jobs?order=4711").Body.String(); strings.Contains(text, "/jobs/line") || !strings.Contains(text, "4711") {
		t.Error("the counter is shown what it may not change, or no jobs")
	}
}

// Every setting has words of its own, and none the name of a flag; the letter's
// day and time are what its schedule says.
func TestSettingsInWords(t *testing.T) {
	s := open(t)
	seen := 0
	for _, g := range limitFields(func(desk.Limit) (string, bool) { return "1", false }) {
		for _, f := range g.Fields {
			if seen++; f.Label == "" || f.Unit == "" {
				t.Errorf("%s has no words", f.Name)
			}
		}
	}
	if seen != len(desk.Limits()) || len(limitTexts) != seen {
		t.Errorf("want each of %d limits shown once, have %d, and words for %d", len(desk.Limits()), seen, len(limitTexts))
	}
	for _, m := range post.Settings {
		if mailTexts[m.Name].Label == "" {
			t.Errorf("%s has no words", m.Name)
		}
	}
	for _, rt := range s.routes() {
		if rt.method == "GET" && !strings.HasPrefix(rt.path, "/assets") {
			if flag := regexp.MustCompile(`\s--[a-z][a-z-]*`).FindString(strings.ReplaceAll(s.get(rt.example()).Body.String(), "<!--", "")); flag != "" {
				t.Errorf("%s shows a flag:%s", rt.path, flag)
			}
		}
	}
	save := func(day, at string) *httptest.ResponseRecorder {
		return s.post("/settings/mail", url.Values{"day": {day}, "time": {at}, "to": {"owner@example.com"}, "from": {"shop@example.com"}, "host": {"smtp.example.com"}, "port": {"587"}, "security": {"starttls"}})
	}
	schedule := func() string {
		v, err := s.db.Setting(context.Background(), post.SettingSchedule, "")
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if w := save("4", "17:30"); w.Code != 303 || schedule() != "30 17 * * 4" {
		t.Errorf("have %d %s, %q", w.Code, w.Body, schedule())
	}
	text := s.get("/settings").Body.String()
	for _, want := range []string{`<option value="4" selected>Thursday</option>`, `value="17:30"`, "set when the letter is due to Thursdays at 17:30", "owner@example.com"} {
		if !strings.Contains(text, want) {
			t.Errorf("want %q on the page", want)
		}
	}
	for _, bad := range [][2]string{{"4", "25:00"}, {"4", ""}, {"9", "06:00"}, {"x", "06:00"}} {
		if w := save(bad[0], bad[1]); w.Code != 422 {
			t.Errorf("%v: have %d", bad, w.Code)
		}
	}
	const odd = "0 6 1 * *"
	if err := s.db.Set(context.Background(), post.SettingSchedule, odd); err != nil {
		t.Fatal(err)
	}
	if text := s.get("/settings").Body.String(); !strings.Contains(text, "as it was set elsewhere") {
		t.Error("an odd schedule is shown as a day and a time")
	}
	if w := save("", ""); w.Code != 303 || schedule() != odd {
		t.Errorf("an odd schedule is lost: %d, %q", w.Code, schedule())
	}
	if w := s.post("/settings/limits", url.Values{"ramp-weeks": {"2.5"}}); w.Code != 422 || !strings.Contains(w.Body.String(), "A new technician works at full speed after: need a whole number from 0 to 52 weeks, have &#34;2.5&#34;") {
		t.Errorf("have %d %s", w.Code, w.Body)
	}
}

// Kinds are counted as one, renamed, counted apart, and all of it taken back.
func TestKinds(t *testing.T) {
	s := open(t)
	s.takeInText("jobs.csv", "drop-offs", "ro_number,dropped_off,kind\n1,2026-11-02,roof air\n2,2026-11-02,roof air\n3,2026-11-03,A/C unit\n")
	kinds := func() string {
		all, err := s.db.Kinds(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, k := range all {
			names = append(names, k.Name)
		}
		return strings.Join(names, ", ")
	}
	for _, step := range []struct {
		form url.Values
		code int
		want string
	}{
		{url.Values{"step": {"join"}, "kind": {"A/C unit"}, "into": {"roof air"}}, 303, "roof air"},
		{url.Values{"step": {"join"}, "kind": {"roof air"}, "into": {"AC"}}, 303, "AC"},
		{url.Values{"step": {"join"}, "kind": {"AC"}, "into": {""}}, 422, "AC"},
		{url.Values{"step": {"join"}, "kind": {"furnace"}, "into": {"AC"}}, 422, "AC"},
		{url.Values{"kind": {"AC"}}, 400, "AC"},
		{url.Values{"step": {"split"}, "kind": {"AC"}}, 303, "roof air, A/C unit"},
		{url.Values{"step": {"undo"}}, 303, "AC"},
		{url.Values{"step": {"undo"}}, 303, "roof air"},
		{url.Values{"step": {"undo"}}, 303, "roof air, A/C unit"},
		{url.Values{"step": {"undo"}}, 409, "roof air, A/C unit"},
		{url.Values{"step": {"ticked"}}, 422, "roof air, A/C unit"},
		{url.Values{"step": {"ticked"}, "pair": {"furnace\troof air", "roof air\tA/C unit", "A/C unit\troof air"}}, 303, "A/C unit"},
		{url.Values{"step": {"undo"}}, 303, "roof air, A/C unit"},
	} {
		if w := s.post("/kinds", step.form); w.Code != step.code || kinds() != step.want {
			t.Errorf("%v: want %d and %s, have %d and %s", step.form, step.code, step.want, w.Code, kinds())
		}
	}
	offers := func() (text string, undo, split bool) {
		text = s.get("/kinds").Body.String()
		return text, strings.Contains(text, `value="undo"`), strings.Contains(text, ">Change</th>")
	}
	if text, undo, split := offers(); !strings.Contains(text, "A/C unit") || undo || split {
		t.Errorf("want nothing offered to be taken back or counted apart, have %s", text)
	}
	s.post("/kinds", url.Values{"step": {"join"}, "kind": {"A/C unit"}, "into": {"roof air"}})
	if text, undo, split := offers(); !undo || !split || !strings.Contains(text, "It was of A/C unit") {
		t.Errorf("want both offered, have %s", text)
	}
}

// The invented shop is looked at, and left; meanwhile the shop's own records
// can't be changed by what is done on its pages.
func TestDemoShop(t *testing.T) {
	s := open(t)
	s.post("/settings/shop", url.Values{"name": {"Own Shop"}, "zone": {"America/Denver"}, "open.mon": {"1"}})
	token := s.formToken()
	s.post("/demo", nil)
	for range 500 {
		if s.showsDemo() {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if text := s.get("/").Body.String(); !strings.Contains(text, "This is an invented shop") || strings.Contains(text, "Own Shop") {
		t.Errorf("have %s", text)
	}
	before := s.everything()
	if w := s.post("/time-off", url.Values{"token": {token}, "name": {"Ada"}, "from": {"2026-12-24"}}); w.Code != http.StatusConflict || s.everything() != before {
		t.Errorf("a change on the invented shop's pages: have %d", w.Code)
	}
	s.post("/demo/leave", nil)
	if text := s.get("/").Body.String(); strings.Contains(text, "This is an invented shop") || !strings.Contains(text, "Own Shop") {
		t.Errorf("have %s", text)
	}
}

// More than a form needs is refused.
func TestHugeForm(t *testing.T) {
	s := open(t)
	if w := s.post("/settings/shop", url.Values{"name": {strings.Repeat("x", 1<<20)}}); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("have %d", w.Code)
	}
}

// What goes over the wire the first time, and after that.
func TestWeight(t *testing.T) {
	s := open(t)
	s.keep("Quillback Bend")
	small := func(r *http.Request) { r.Header.Set("Accept-Encoding", "gzip") }
	w := s.ask("GET", "/", nil, small)
	page := w.Body.Len()
	z, err := gzip.NewReader(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	first := page
	loaded := 0
	for _, u := range assets().urls {
		if bytes.Contains(text, []byte(u)) {
			loaded++
			a := s.ask("GET", u, nil, small)
			first += a.Body.Len()
			if !strings.Contains(a.Header().Get("Cache-Control"), "immutable") {
				t.Errorf("%s would be asked for again", u)
			}
		}
	}
	if loaded != len(assets().urls) {
		t.Errorf("the page loads %d of %d files", loaded, len(assets().urls))
	}
	if first > 400<<10 || page > 40<<10 {
		t.Errorf("want at most 400 kB first and 40 kB after, have %d and %d bytes", first, page)
	}
	t.Logf("%d bytes first, %d after", first, page)
}

// A report that is finished while a page is made is missing from that page: it
// has to say that the report was being made, so that it loads anew.
func TestReportFinishedMeanwhile(t *testing.T) {
	s := open(t)
	s.keep("Quillback Bend")
	asked := 0
	s.Config.Working = func() bool { asked++; return asked == 1 }
	if !strings.Contains(s.get("/").Body.String(), "Working it out anew") {
		t.Error("want it said that the report is being made")
	}
	if strings.Contains(s.get("/").Body.String(), "Working it out anew") {
		t.Error("want nothing said once it is made")
	}
}
