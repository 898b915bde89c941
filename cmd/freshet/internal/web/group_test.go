package web

import (
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"context"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/ingest/store/pgtest"
)

// groupSite is the pages of a group of two shops, east and west: pat owns east
// and has west's counter, sam has east's counter alone.
type groupSite struct {
	*Group
	t      *testing.T
	g      *store.Group
	cookie string
}

const words = "four words to get in"

func openGroup(t *testing.T) *groupSite {
	t.Helper()
	ctx := t.Context()
	g, err := store.OpenGroup(ctx, pgtest.Database(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { g.Close() })
	now := time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
	hash, err := Hash(words)
	if err != nil {
		t.Fatal(err)
	}
	for _, user := range []string{"pat", "sam"} {
		if err := g.SetUser(ctx, user, hash, now); err != nil {
			t.Fatal(err)
		}
	}
	for _, shop := range []string{"east", "west"} {
		db, err := g.Add(ctx, shop)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		if err := db.Set(ctx, desk.SettingName, "Shop "+shop+"ern"); err != nil {
			t.Fatal(err)
		}
		jobs := "ro_number,dropped_off,kind,unit\n77," + now.Format(time.DateOnly) + ",brakes,trailer of " + shop + "\n"
		if _, err := db.TakeIn(ctx, store.HandIn{Name: shop + ".csv", File: strings.NewReader(jobs), Size: int64(len(jobs))}, forecast.DateOf(now)+1, now, nil); err != nil {
			t.Fatal(err)
		}
	}
	for _, m := range []store.Member{{User: "pat", Shop: "east", Role: "owner"}, {User: "pat", Shop: "west", Role: "counter"}, {User: "sam", Shop: "east", Role: "counter"}} {
		if err := g.SetMember(ctx, m.User, m.Shop, m.Role); err != nil {
			t.Fatal(err)
		}
	}
	pages, err := NewGroup(ctx, GroupConfig{Group: g, Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return now },
		Anew: func(string) {}, Working: func(context.Context, string) bool { return false }, Test: func(context.Context, string) error { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pages.Close)
	return &groupSite{Group: pages, t: t, g: g}
}

func (s *groupSite) ask(method, path string, form url.Values) *httptest.ResponseRecorder {
	s.t.Helper()
	r := httptest.NewRequest(method, "http://127.0.0.1:8137/", strings.NewReader(form.Encode()))
	u, err := url.Parse(path)
	if err != nil {
		u = &url.URL{Path: path}
	}
	r.URL.Path, r.URL.RawQuery = u.Path, u.RawQuery
	r.RemoteAddr = "127.0.0.1:50000"
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if s.cookie != "" {
		r.AddCookie(&http.Cookie{Name: "freshet", Value: s.cookie})
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		s.cookie = c.Value
	}
	return w
}

var tokenField = regexp.MustCompile(`name="token" value="([^"]+)"`)

// post sends a form with the token of the page it stands on.
func (s *groupSite) post(from, path string, form url.Values) *httptest.ResponseRecorder {
	s.t.Helper()
	if m := tokenField.FindStringSubmatch(s.ask("GET", from, nil).Body.String()); m != nil {
		form.Set("token", m[1])
	}
	return s.ask("POST", path, form)
}

func (s *groupSite) logIn(user string) {
	s.t.Helper()
	s.cookie = ""
	if w := s.post("/login", "/login", url.Values{"name": {user}, "passphrase": {words}}); w.Header().Get("Location") != "/group" {
		s.t.Fatalf("%s isn't let in: %d %s", user, w.Code, w.Body)
	}
}

func (s *groupSite) choose(shop string) int {
	s.t.Helper()
	return s.post("/group", "/group", url.Values{"shop": {shop}}).Code
}

// TestTenants has users ask for everything that there is. Nothing of a shop in
// which one is nothing is shown by any route, whatever was chosen before and
// whatever the address says.
func TestTenants(t *testing.T) {
	s := openGroup(t)
	routes := (&Server{Config: Config{group: s.Group}}).routes()
	all := func(who string, shown func(rt route, w *httptest.ResponseRecorder)) {
		for _, rt := range routes {
			if rt.alone {
				continue
			}
			method := rt.method
			if method == "" {
				method = "GET"
			}
			for _, query := range []string{"", "?shop=west", "?shop=west&id=1&key=77"} {
				w := s.ask(method, rt.example()+query, url.Values{"shop": {"west"}, "token": {"none"}})
				shown(rt, w)
				if body := w.Body.String(); strings.Contains(body, "western") || strings.Contains(body, "trailer of west") {
					t.Errorf("%s: %s %s shows the other shop: %d", who, method, rt.path, w.Code)
				}
			}
		}
	}
	refused := func(rt route, w *httptest.ResponseRecorder) {
		if to := w.Header().Get("Location"); w.Code != http.StatusNotFound && w.Code != http.StatusUnauthorized && to != "/login" && to != "/group" {
			t.Errorf("%s %s: have %d %s", rt.method, rt.path, w.Code, to)
		}
	}
	all("nobody", refused)
	s.cookie = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
	all("made up", refused)

	s.logIn("sam")
	all("sam, without a shop", refused)
	if code := s.choose("west"); code != http.StatusNotFound {
		t.Errorf("sam chooses a shop that isn't his: %d", code)
	}
	if code := s.choose("north"); code != http.StatusNotFound {
		t.Errorf("sam chooses a shop that there isn't: %d", code)
	}
	if code := s.choose("east"); code != http.StatusSeeOther {
		t.Fatalf("sam can't choose his shop: %d", code)
	}
	saw := 0
	all("sam in east", func(rt route, w *httptest.ResponseRecorder) {
		if w.Code == http.StatusOK {
			saw++
		}
		if rt.least == owner && w.Code != http.StatusForbidden {
			t.Errorf("%s %s at the counter: have %d", rt.method, rt.path, w.Code)
		}
	})
	if w := s.ask("GET", "/jobs", nil); saw == 0 || !strings.Contains(w.Body.String(), "trailer of east") {
		t.Errorf("sam sees nothing of his own shop: %d", w.Code)
	}

	// Who is shut out of a shop that he had chosen sees nothing more of it, nor
	// does who got another passphrase.
	s.logIn("pat")
	if code := s.choose("west"); code != http.StatusSeeOther {
		t.Fatalf("pat can't choose west: %d", code)
	}
	if w := s.ask("GET", "/jobs", nil); !strings.Contains(w.Body.String(), "trailer of west") {
		t.Errorf("pat sees nothing of west: %d", w.Code)
	}
	if w := s.ask("GET", "/crew", nil); w.Code != http.StatusForbidden {
		t.Errorf("pat is at west's counter and sees its crew: %d", w.Code)
	}
	if err := s.g.SetMember(t.Context(), "pat", "west", ""); err != nil {
		t.Fatal(err)
	}
	all("pat, shut out of west", refused)
	if code := s.choose("east"); code != http.StatusSeeOther {
		t.Fatalf("pat can't choose east: %d", code)
	}
	for _, shop := range []string{"east", "west"} {
		if _, err := s.g.HandIn(t.Context(), shop, "next "+shop+".csv", nil); err != nil {
			t.Fatal(err)
		}
	}
	if w := s.ask("GET", "/records", nil); w.Code != http.StatusOK || strings.Contains(w.Body.String(), "west.csv") || !strings.Contains(w.Body.String(), "next east.csv</th><td>waits for a worker") {
		t.Errorf("east's owner sees its records: %d\n%s", w.Code, w.Body)
	}
	// What holds of a shop's own PC isn't said of a group's.
	for path, not := range map[string][]string{"/records": {"watched folder"}, "/settings": {"There is no backup yet", "one each night", "postgres://"}} {
		body := s.ask("GET", path, nil).Body.String()
		for _, words := range append(not, "(owner)") {
			if strings.Contains(body, words) {
				t.Errorf("%s says %q", path, words)
			}
		}
		if !strings.Contains(body, "Log out (pat)") {
			t.Errorf("%s: want the user named", path)
		}
	}
	hash, err := Hash(words + " anew")
	if err != nil {
		t.Fatal(err)
	}
	if err := s.g.SetUser(t.Context(), "pat", hash, time.Now()); err != nil {
		t.Fatal(err)
	}
	all("pat, by the old passphrase", refused)
}

// A shop that a newer program has opened can't be shown, and the page says so.
func TestNewerShop(t *testing.T) {
	s := openGroup(t)
	refused := func(shop, newer string) {
		t.Helper()
		if _, err := s.g.Pool().Exec(t.Context(), newer+"; INSERT INTO shop_"+shop+".goose_db_version(version_id, is_applied) VALUES(999, true)"); err != nil {
			t.Fatal(err)
		}
		if w := s.ask("GET", "/records", nil); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "a newer freshet wrote these records") {
			t.Errorf("%s: have %d\n%s", shop, w.Code, w.Body)
		}
	}
	s.logIn("pat")
	s.choose("east")
	refused("east", "SELECT 1")
	if err := s.g.SetMember(t.Context(), "pat", "west", "owner"); err != nil {
		t.Fatal(err)
	}
	s.choose("west")
	if w := s.ask("GET", "/records", nil); w.Code != http.StatusOK {
		t.Fatal(w.Code, w.Body)
	}
	refused("west", "ALTER TABLE shop_west.batches RENAME TO files") // while it is open
}

// A shop whose records were taken out of the database, to be brought back from a
// dump, isn't shown as an empty one.
func TestShopThatIsGone(t *testing.T) {
	s := openGroup(t)
	s.logIn("pat")
	s.choose("east")
	if w := s.ask("GET", "/records", nil); w.Code != http.StatusOK {
		t.Fatal(w.Code, w.Body)
	}
	if _, err := s.g.Pool().Exec(t.Context(), "DROP SCHEMA shop_east CASCADE"); err != nil {
		t.Fatal(err)
	}
	if w := s.ask("GET", "/records", nil); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "the shop's records aren't in the database") {
		t.Errorf("have %d\n%s", w.Code, w.Body)
	}
	if there, err := s.g.Holds(t.Context(), "east"); err != nil || there {
		t.Errorf("want no schema made in its place, have %v, %v", there, err)
	}
}

// The group's page shows a user's shops alone, the worst first, with words for
// each shade, and the loans between them; and forms without the session's token
// do nothing.
func TestGroupPage(t *testing.T) {
	s := openGroup(t)
	ctx := t.Context()
	monday := forecast.NewDate(2026, 11, 30)
	for shop, chance := range map[string]float64{"east": .05, "west": .45} {
		b := store.Brief{Shop: shop, Title: "Shop " + shop + "ern <b>", AsOf: monday - 7, MadeAt: s.Now()}
		for i := range 4 {
			w := store.BriefWeek{Monday: monday + forecast.Date(7*i), DropOffs: 20}
			w.Hours.V, w.Hours.Valid, w.Available.V, w.Available.Valid, w.Chance.V, w.Chance.Valid = 100, true, 110, true, chance+.1*float64(i), true
			if i == 2 && shop == "east" || i == 3 { // the crew is off, and who has no hours is surely short of them
				w.Available.V, w.Chance.V = 0, 1
			}
			b.Weeks = append(b.Weeks, w)
		}
		if err := s.g.KeepBrief(ctx, b); err != nil {
			t.Fatal(err)
		}
	}
	text, err := json.Marshal(capacity.Loan{Monday: monday, Hours: 34, Lender: capacity.Change{Before: .05, After: .15}, Borrower: capacity.Change{Before: .45, After: .2}})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.g.KeepLoans(ctx, []store.Loan{{Monday: monday, Lender: "east", Borrower: "west", Loan: text}}); err != nil {
		t.Fatal(err)
	}
	s.logIn("pat")
	body := s.ask("GET", "/group", nil).Body.String()
	for _, want := range []string{"Shop eastern &lt;b&gt;", "fine <span>5 %</span>", "tight <span>15 %</span>", "short <span>45 %</span>", "short <span>55 %</span>", "<td>40</td><td>200 h</td><td>220 h</td><td>1 of 2</td>", "<td>110 h</td><td>1 of 1, 1 closed</td>", "<td>0 h</td><td>closed</td>", `<td class="closed">closed</td>`,
		"Week of November 30: <strong>Shop eastern &lt;b&gt;</strong> to <strong>Shop western &lt;b&gt;</strong>, 34 hours", "from 45\u00a0% to 20\u00a0%"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q:\n%s", want, body)
		}
	}
	if strings.Index(body, "western") > strings.Index(body, "eastern") {
		t.Error("want the shop in most trouble first")
	}
	if w := s.ask("POST", "/group", url.Values{"shop": {"east"}, "token": {"none"}}); w.Code != http.StatusForbidden {
		t.Errorf("a form from elsewhere chooses a shop: %d", w.Code)
	}
	s.logIn("sam")
	if body := s.ask("GET", "/group", nil).Body.String(); strings.Contains(body, "west") || !strings.Contains(body, "eastern") || !strings.Contains(body, "<td>20</td>") {
		t.Errorf("sam's page has more or less than his shop:\n%s", body)
	}
	s.cookie = ""
	if w := s.post("/login", "/login", url.Values{"name": {"sam"}, "passphrase": {"another four words"}}); w.Code != http.StatusUnauthorized {
		t.Errorf("a wrong passphrase: %d", w.Code)
	}
}

// Who took a file in is the user, by name: an owner may be one of several.
func TestWhoTookAFileIn(t *testing.T) {
	s := openGroup(t)
	s.logIn("pat")
	s.choose("east")
	at := s.upload("more.csv", "ro_number,dropped_off\n78,2026-11-20\n").Header().Get("Location")
	if w := s.post("/records", at, url.Values{"column.0": {"ro_number"}, "column.1": {"dropped_off"}}); w.Code != http.StatusSeeOther {
		t.Fatalf("have %d %s", w.Code, w.Body)
	}
	for strings.Contains(s.ask("GET", at, nil).Body.String(), "being taken in") && t.Context().Err() == nil {
		time.Sleep(10 * time.Millisecond)
	}
	db, err := s.g.Open(t.Context(), "east")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if all, err := db.Changes(t.Context(), 1); err != nil || len(all) != 1 || all[0].Who != "pat" || !strings.Contains(all[0].What, "took in more.csv") {
		t.Errorf("want it pat's, have %+v, %v", all, err)
	}
}

// Whether a name is one that somebody has isn't told by how soon the answer
// comes: its passphrase is looked at like any other.
func TestNamesArentTold(t *testing.T) {
	s := openGroup(t)
	for range cap(s.front.hashing) { // nobody can be looked at now
		s.front.hashing <- struct{}{}
	}
	for _, name := range []string{"pat", "nobody"} {
		token := tokenField.FindStringSubmatch(s.ask("GET", "/login", nil).Body.String())[1]
		ctx, stop := context.WithTimeout(t.Context(), 100*time.Millisecond)
		defer stop()
		r := httptest.NewRequestWithContext(ctx, "POST", "http://127.0.0.1:8137/login", strings.NewReader(url.Values{"token": {token}, "name": {name}, "passphrase": {"nothing that is set"}}.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.AddCookie(&http.Cookie{Name: "freshet", Value: s.cookie})
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		if w.Code == http.StatusUnauthorized || ctx.Err() == nil {
			t.Errorf("%s: want it to wait for its turn, have %d at once", name, w.Code)
		}
	}
}
