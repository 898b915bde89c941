package web

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"sync"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
)

var groupLoad = flag.Duration("group-load", 0, "for how long TestGroupLoad has 200 users look at the pages of a group of 1,000 shops")

// TestGroupLoad logs how long 200 users wait who look at the pages of 1,000
// shops: all shops, and the week of one, some seconds apart. One user sees all
// shops, the others five each; 20 shops are looked at, which opens each one the
// first time.
func TestGroupLoad(t *testing.T) {
	if *groupLoad == 0 {
		t.Skip("measures only: -group-load 10s")
	}
	s := openGroup(t)
	ctx := t.Context()
	const shops, opened, users = 1000, 20, 200
	for i := range shops {
		name := fmt.Sprintf("shop%04d", i)
		if i < opened {
			db, err := s.g.Add(ctx, name)
			if err != nil {
				t.Fatal(err)
			}
			if err := db.Set(ctx, desk.SettingName, name); err != nil {
				t.Fatal(err)
			}
			db.Close()
		} else if _, err := s.g.Pool().Exec(ctx, "INSERT INTO freshet.shops(name) VALUES($1)", name); err != nil {
			t.Fatal(err)
		}
		b := store.Brief{Shop: name, Title: name, AsOf: forecast.DateOf(s.Now()), MadeAt: s.Now()}
		for w := range 13 {
			week := store.BriefWeek{Monday: b.AsOf + forecast.Date(7*w), DropOffs: 20, Spare: []byte(`{}`)}
			week.Chance.V, week.Chance.Valid = rand.Float64(), true
			b.Weeks = append(b.Weeks, week)
		}
		if err := s.g.KeepBrief(ctx, b); err != nil {
			t.Fatal(err)
		}
		if err := s.g.SetMember(ctx, "pat", name, "owner"); err != nil {
			t.Fatal(err)
		}
	}
	hash, err := Hash(words)
	if err != nil {
		t.Fatal(err)
	}
	var all []*groupSite
	for u := range users {
		c := &groupSite{Group: s.Group, t: t, g: s.g}
		name := "pat"
		if u > 0 {
			name = fmt.Sprint("user", u)
			if err := s.g.SetUser(ctx, name, hash, s.Now()); err != nil {
				t.Fatal(err)
			}
			for i := range 5 {
				if err := s.g.SetMember(ctx, name, fmt.Sprintf("shop%04d", (u+i*opened)%shops), "owner"); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.g.SetMember(ctx, name, fmt.Sprintf("shop%04d", u%opened), "owner"); err != nil {
				t.Fatal(err)
			}
		}
		c.logIn(name)
		if code := c.post("/group", "/group", url.Values{"shop": {fmt.Sprintf("shop%04d", u%opened)}}).Code; code != http.StatusSeeOther {
			t.Fatal(code)
		}
		all = append(all, c)
	}
	begun := time.Now()
	for _, c := range all[:opened] {
		c.ask("GET", "/", nil)
	}
	t.Logf("a shop opened within %v", (time.Since(begun) / opened).Round(time.Millisecond))
	var mu sync.Mutex
	took := map[string][]time.Duration{}
	var wg sync.WaitGroup
	until := time.Now().Add(*groupLoad)
	for _, c := range all {
		wg.Go(func() {
			for time.Now().Before(until) {
				time.Sleep(time.Duration(rand.Int64N(int64(3 * time.Second))))
				for _, path := range []string{"/group", "/"} {
					begun := time.Now()
					if w := c.ask("GET", path, nil); w.Code != http.StatusOK {
						t.Errorf("%s: %d", path, w.Code)
					}
					d := time.Since(begun)
					mu.Lock()
					took[path] = append(took[path], d)
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
	for path, d := range took {
		slices.Sort(d)
		t.Logf("%s: %d times, half within %v, 99 of 100 within %v", path, len(d), d[len(d)/2].Round(time.Millisecond/10), d[len(d)*99/100].Round(time.Millisecond/10))
	}
}
