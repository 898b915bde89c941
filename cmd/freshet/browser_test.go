package main

import (
	"context"
	_ "embed"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/browse"

	"github.com/chromedp/chromedp"
)

// axe is axe-core 4.14.1, which looks for what keeps people from using a page.
//
//go:embed testdata/axe/axe.min.js
var axe string

// An owner comes from an empty shop to the report with a file, in a browser.
// Then every page is looked at wide, on a phone, dark and on paper: nothing
// keeps anyone from using it, nothing sticks out of a phone's screen, and no
// request leaves the machine.
func TestFirstRunInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	ctx, loaded := browse.Open(t, 4*time.Minute)
	dir := t.TempDir()
	if status, _, errs := call(t, "demo", "--as-of", "2026-11-23", "--files", dir); status != done {
		t.Fatal(errs)
	}
	// A week with far more than usual, so that there is something to explain.
	f, err := os.OpenFile(filepath.Join(dir, "drop-offs.csv"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 60 {
		fmt.Fprintf(f, "%d,2026-11-17,cooling,,2,2,,,,,,,2026-11-19,2026-11-20,picked up,\n", 700000+i)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	base := served(t, monday, "serve", "--db", filepath.Join(dir, "shop.db"))

	browse.Do(t, ctx, "the shop", chromedp.EmulateViewport(1280, 900), chromedp.Navigate(base+"/"),
		browse.Script(`document.querySelector('[name=name]').value = 'Tamarack <em>RV</em>'; document.querySelector('[name=zone]').value = 'America/Denver'; document.querySelector('form[action="/settings/shop"]').requestSubmit()`))
	browse.Read(t, ctx, "the shop is saved", `document.body.innerText.includes('Saved.') && !!document.querySelector('.steps li.done')`)
	audit(t, ctx, "the first steps")

	for _, f := range []string{"crew.csv", "drop-offs.csv"} {
		browse.Do(t, ctx, f, chromedp.Navigate(base+"/records"), chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{filepath.Join(dir, f)}), browse.Script(`document.querySelector('[data-drop]').requestSubmit()`))
		browse.Read(t, ctx, "the columns of "+f, `document.querySelectorAll('table.mapping select').length > 3`)
		audit(t, ctx, "the columns of "+f)
		browse.Do(t, ctx, f, browse.Script(`document.querySelector('table.mapping').closest('form').requestSubmit()`))
		browse.Read(t, ctx, f+" is in", `document.body.innerText.includes('It is in:')`)
	}
	browse.Do(t, ctx, "the week", chromedp.Navigate(base+"/"))
	browse.Read(t, ctx, "the week", `!!document.querySelector('.headline p') && !document.body.innerText.includes('Working it out anew') && !!document.querySelector('.chart svg') && document.querySelector('h1').innerText == 'Tamarack <em>RV</em>'`)

	browse.Do(t, ctx, "time off", chromedp.Navigate(base+"/time-off"), browse.Script(`document.querySelector('form [name=until]').form.name.value`),
		browse.Script(`(f => { f.elements.name.value = 'shop'; f.elements.from.value = '2026-12-24'; f.elements.until.value = '2026-12-26'; f.requestSubmit() })(document.querySelector('[name=until]').form)`))
	browse.Read(t, ctx, "time off", `document.body.innerText.includes('Saturday, December 26, 2026')`)

	browse.Do(t, ctx, "watch", chromedp.Navigate(base+"/watch"))
	browse.Read(t, ctx, "an alert", `!!document.querySelector('.alert [name=because]')`)
	browse.Do(t, ctx, "an explanation", browse.Script(`(f => { f.elements.because.value = 'a <b>rally</b> in town'; f.requestSubmit() })(document.querySelector('[name=because]').form)`))
	browse.Read(t, ctx, "the alert is explained", `!document.body.innerText.includes('Working it out anew') && document.body.innerText.includes('a <b>rally</b> in town')`)

	links, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`[...document.querySelectorAll('nav a')].map(a => a.getAttribute('href'))`))
	if err != nil || len(links) < 6 {
		t.Fatal("the navigation: ", links, err)
	}
	for _, p := range links {
		browse.Do(t, ctx, p, browse.Media("", "light"), chromedp.EmulateViewport(1280, 900), chromedp.Navigate(base+p))
		audit(t, ctx, p)
		browse.Do(t, ctx, p, browse.Media("", "dark"), chromedp.Navigate(base+p))
		audit(t, ctx, p+" in the dark")
		browse.Do(t, ctx, p, browse.Media("", "light"), chromedp.EmulateViewport(390, 800), chromedp.Navigate(base+p))
		audit(t, ctx, p+" on a phone")
		browse.Read(t, ctx, p+" fits a phone", `document.documentElement.scrollWidth <= 390`)
		browse.Do(t, ctx, p, browse.Media("print", "light"))
		browse.Read(t, ctx, p+" on paper has no navigation", `document.querySelector('nav').offsetHeight == 0 && document.querySelector('h1').offsetHeight > 0`)
		browse.Do(t, ctx, p, browse.Media("", "light"))
	}
	u, err := url.Parse(base)
	if err != nil {
		t.Fatal(err)
	}
	all := loaded()
	for _, l := range all {
		if v, err := url.Parse(l); err != nil || v.Host != u.Host && v.Scheme != "data" && v.Scheme != "chrome" && v.Scheme != "about" {
			t.Errorf("a request leaves the machine: %s", l)
		}
	}
	if len(all) < 50 {
		t.Errorf("only %d requests were seen", len(all))
	}
}

// audit looks for what keeps people from using the page that is shown.
func audit(t *testing.T, ctx context.Context, what string) {
	t.Helper()
	browse.Do(t, ctx, what, browse.Script(axe))
	found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`axe.run().then(r => r.violations.flatMap(v => v.nodes.map(n => v.id + ': ' + v.help + ': ' + n.html + ' ' + (n.any[0] || n.all[0] || n.none[0] || {}).message)))`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	if len(found) > 0 {
		t.Errorf("%s: %s", what, strings.Join(found[:min(len(found), 6)], "\n"))
	}
}
