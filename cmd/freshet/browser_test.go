package main

import (
	"context"
	_ "embed"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// axe is axe-core 4.14.1, which looks for what keeps people from using a page.
//
//go:embed testdata/axe/axe.min.js
var axe string

// browser starts a browser of its own, which keeps track of what it loads, or
// skips the test where there is none.
func browser(t *testing.T) (ctx context.Context, loaded func() []string) {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium here: apt-get install chromium")
	}
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("headless", "new")}
	for _, f := range []string{"disable-gpu", "disable-quic", "no-first-run", "disable-background-networking", "disable-component-update", "disable-sync", "hide-scrollbars"} {
		options = append(options, chromedp.Flag(f, true))
	}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	ctx, stop = context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	var mu sync.Mutex
	var all []string
	if err := chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.Enable, network.EnableParams{})
		return err
	})); err != nil {
		t.Fatal("the browser doesn't start: ", err)
	}
	if err := chromedp.Listen(ctx, func(e any) {
		if r, ok := e.(*network.EventRequestWillBeSent); ok {
			mu.Lock()
			defer mu.Unlock()
			all = append(all, r.Request.URL)
		}
	}); err != nil {
		t.Fatal(err)
	}
	return ctx, func() []string {
		mu.Lock()
		defer mu.Unlock()
		return all
	}
}

// media has the browser prefer a color scheme, or show pages as on paper.
func media(kind, scheme string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: kind, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return err
	})
}

// read waits until an expression in the page is true, or fails.
func read(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	for range 1200 { // a minute: the machine may have other things to do
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression))
		if err == nil && ok { // a page that is being left answers with an error
			return
		}
		if ctx.Err() != nil {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	text, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("location.href + '\\n' + document.body.innerText"))
	t.Fatalf("%s: the page never says so: %.2000s", what, text)
}

func do(t *testing.T, ctx context.Context, what string, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// script runs an expression for what it does.
func script(expression string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Evaluate[bool](expression+"; true")(ctx, t)
		return chromedp.Void{}, err
	}
}

// An owner comes from an empty shop to the report with a file, in a browser.
// Then every page is looked at wide, on a phone, dark and on paper: nothing
// keeps anyone from using it, nothing sticks out of a phone's screen, and no
// request leaves the machine.
func TestFirstRunInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	ctx, loaded := browser(t)
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

	do(t, ctx, "the shop", chromedp.EmulateViewport(1280, 900), chromedp.Navigate(base+"/"),
		script(`document.querySelector('[name=name]').value = 'Tamarack <em>RV</em>'; document.querySelector('[name=zone]').value = 'America/Denver'; document.querySelector('form[action="/settings/shop"]').requestSubmit()`))
	read(t, ctx, "the shop is saved", `document.body.innerText.includes('Saved.') && !!document.querySelector('.steps li.done')`)
	audit(t, ctx, "the first steps")

	for _, f := range []string{"crew.csv", "drop-offs.csv"} {
		do(t, ctx, f, chromedp.Navigate(base+"/records"), chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{filepath.Join(dir, f)}), script(`document.querySelector('[data-drop]').requestSubmit()`))
		read(t, ctx, "the columns of "+f, `document.querySelectorAll('table.mapping select').length > 3`)
		audit(t, ctx, "the columns of "+f)
		do(t, ctx, f, script(`document.querySelector('table.mapping').closest('form').requestSubmit()`))
		read(t, ctx, f+" is in", `document.body.innerText.includes('It is in:')`)
	}
	do(t, ctx, "the week", chromedp.Navigate(base+"/"))
	read(t, ctx, "the week", `!!document.querySelector('.headline p') && !document.body.innerText.includes('Working it out anew') && !!document.querySelector('.chart svg') && document.querySelector('h1').innerText == 'Tamarack <em>RV</em>'`)

	do(t, ctx, "time off", chromedp.Navigate(base+"/time-off"), script(`document.querySelector('form [name=until]').form.name.value`),
		script(`(f => { f.elements.name.value = 'shop'; f.elements.from.value = '2026-12-24'; f.elements.until.value = '2026-12-26'; f.requestSubmit() })(document.querySelector('[name=until]').form)`))
	read(t, ctx, "time off", `document.body.innerText.includes('Saturday, December 26, 2026')`)

	do(t, ctx, "watch", chromedp.Navigate(base+"/watch"))
	read(t, ctx, "an alert", `!!document.querySelector('.alert [name=because]')`)
	do(t, ctx, "an explanation", script(`(f => { f.elements.because.value = 'a <b>rally</b> in town'; f.requestSubmit() })(document.querySelector('[name=because]').form)`))
	read(t, ctx, "the alert is explained", `!document.body.innerText.includes('Working it out anew') && document.body.innerText.includes('a <b>rally</b> in town')`)

	links, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`[...document.querySelectorAll('nav a')].map(a => a.getAttribute('href'))`))
	if err != nil || len(links) < 6 {
		t.Fatal("the navigation: ", links, err)
	}
	for _, p := range links {
		do(t, ctx, p, media("", "light"), chromedp.EmulateViewport(1280, 900), chromedp.Navigate(base+p))
		audit(t, ctx, p)
		do(t, ctx, p, media("", "dark"), chromedp.Navigate(base+p))
		audit(t, ctx, p+" in the dark")
		do(t, ctx, p, media("", "light"), chromedp.EmulateViewport(390, 800), chromedp.Navigate(base+p))
		audit(t, ctx, p+" on a phone")
		read(t, ctx, p+" fits a phone", `document.documentElement.scrollWidth <= 390`)
		do(t, ctx, p, media("print", "light"))
		read(t, ctx, p+" on paper has no navigation", `document.querySelector('nav').offsetHeight == 0 && document.querySelector('h1').offsetHeight > 0`)
		do(t, ctx, p, media("", "light"))
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
	do(t, ctx, what, script(axe))
	found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`axe.run().then(r => r.violations.flatMap(v => v.nodes.map(n => v.id + ': ' + v.help + ': ' + n.html + ' ' + (n.any[0] || n.all[0] || n.none[0] || {}).message)))`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	if len(found) > 0 {
		t.Errorf("%s: %s", what, strings.Join(found[:min(len(found), 6)], "\n"))
	}
}
