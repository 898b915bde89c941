package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"freshet/cmd/freshet/internal/browse"
	"freshet/cmd/freshet/internal/web"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/ingest/store/pgtest"
)

// People of a group log in and look at all their shops' weeks, three of them or
// forty, wide, dark and on a phone: nothing keeps anyone from using the page,
// and nothing sticks out of a phone's screen.
func TestGroupInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	ctx, _ := browse.Open(t, 2*time.Minute)
	address := pgtest.Database(t)
	g, err := store.OpenGroup(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	hash, err := web.Hash("four words to get in")
	if err != nil {
		t.Fatal(err)
	}
	for _, user := range []string{"pat", "sam"} {
		if err := g.SetUser(t.Context(), user, hash, monday()); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 40 {
		keepShop(t, g, i)
	}
	if err := g.KeepLoans(t.Context(), []store.Loan{{Monday: forecast.DateOf(monday()) + 28, Lender: "shop_2", Borrower: "shop_0",
		Loan: fmt.Appendf(nil, `{"Hours": 34, "Lender": {"Before": 0, "After": 0.06}, "Borrower": {"Before": 0.89, "After": 0.41}}`)}}); err != nil {
		t.Fatal(err)
	}
	base := served(t, monday, "serve", "--db", address, "--metrics", "127.0.0.1:0")
	for user, shops := range map[string]int{"sam": 3, "pat": 40} {
		what := fmt.Sprint(shops, " shops")
		browse.Do(t, ctx, "log in", chromedp.EmulateViewport(1280, 900), chromedp.Navigate(base+"/login"))
		audit(t, ctx, "the login of a group")
		browse.Do(t, ctx, "log in", browse.Script(fmt.Sprintf(`(f => { f.elements.name.value = %q; f.elements.passphrase.value = 'four words to get in'; f.requestSubmit() })(document.querySelector('[name=passphrase]').form)`, user)))
		browse.Read(t, ctx, what, fmt.Sprintf(`document.querySelectorAll('table.map tbody tr').length == %d`, shops))
		for _, look := range []struct {
			name, scheme  string
			width, height int64
		}{{"wide", "light", 1280, 900}, {"dark", "dark", 1280, 900}, {"phone", "light", 390, 800}, {"phone-dark", "dark", 390, 800}} {
			browse.Do(t, ctx, what, browse.Media("", look.scheme), chromedp.EmulateViewport(look.width, look.height), chromedp.Navigate(base+"/group"))
			audit(t, ctx, what+", "+look.name)
			browse.Read(t, ctx, what+" fit, "+look.name, fmt.Sprintf(`document.documentElement.scrollWidth <= %d`, look.width))
			if *pictures != "" && shops == 3 && look.scheme == "light" {
				shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				if err == nil {
					shot, err = fewColors(shot)
				}
				if err == nil {
					err = os.WriteFile(filepath.Join(*pictures, "page-group-"+look.name+".png"), shot, 0o644)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
		}
		browse.Do(t, ctx, "log out", browse.Media("", "light"), browse.Script(`document.querySelector('form[action="/logout"]').requestSubmit()`))
		browse.Read(t, ctx, "logged out", `!document.querySelector('table.map')`)
	}
}

// keepShop has a group keep the brief of one more shop: pat's, and, of the first
// three, sam's.
func keepShop(t *testing.T, g *store.Group, i int) {
	t.Helper()
	ctx := t.Context()
	towns := []string{"Creekside", "Lakeview", "Pine Flat", "Stony Ford", "Eagle Bluff", "Mill Hollow", "Cedar Gap", "Long Meadow"}
	shop, title := fmt.Sprint("shop_", i), towns[i%len(towns)]+" RV Repair"
	if i >= len(towns) {
		title = fmt.Sprintf("%s %d", title, 1+i/len(towns))
	}
	if _, err := g.Pool().Exec(ctx, "INSERT INTO freshet.shops(name, area) VALUES($1, $2)", shop, []string{"north", "south"}[i%2]); err != nil {
		t.Fatal(err)
	}
	b := store.Brief{Shop: shop, Title: title, AsOf: forecast.DateOf(monday()), MadeAt: monday()}
	for j := range 13 {
		week := store.BriefWeek{Monday: b.AsOf + forecast.Date(7*j), DropOffs: 18 + float64((i+j)%7)}
		if i%9 != 8 { // one in nine says nothing of hours or crew
			week.Hours.V, week.Hours.Valid = 110+8*float64(j%5), true
			week.Available.V, week.Available.Valid = 128, true
			week.Chance.V, week.Chance.Valid = math.Pow(math.Sin(float64(3*i+j)/3), 4), true
			if j == 5 {
				week.Available.V, week.Chance.V = 0, 0
			}
		}
		b.Weeks = append(b.Weeks, week)
	}
	if err := g.KeepBrief(ctx, b); err != nil {
		t.Fatal(err)
	}
	for user, shops := range map[string]int{"pat": 40, "sam": 3} {
		if i < shops {
			if err := g.SetMember(ctx, user, shop, "owner"); err != nil {
				t.Fatal(err)
			}
		}
	}
}
