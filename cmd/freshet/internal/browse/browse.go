// Package browse has tests look at pages in a real browser, Debian's chromium.
// It watches over each of them: a dialog that a page opens or a report that its
// content policy was broken fails the test.
//
// To use it: Open a browser, Do steps in it, and Read until the page says so.
// Where there is no chromium the test is skipped with a word.
package browse

import (
	"context"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Open starts a browser of its own for so long at the most, and gives what asks
// it and the addresses that it has loaded so far.
func Open(t *testing.T, most time.Duration) (ctx context.Context, loaded func() []string) {
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
	ctx, stop = context.WithTimeout(ctx, most)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	if err := chromedp.Do(ctx, call(network.Enable, network.EnableParams{}), call(log.Enable, cdp.Empty{})); err != nil {
		t.Fatal("the browser doesn't start: ", err)
	}
	var mu sync.Mutex
	var all []string
	if err := chromedp.Listen(ctx, func(e any) {
		switch e := e.(type) {
		case *network.EventRequestWillBeSent:
			mu.Lock()
			defer mu.Unlock()
			all = append(all, e.Request.URL)
		case *page.EventJavascriptDialogOpening:
			t.Errorf("%s opens a dialog: %s", e.URL, e.Message)
			go chromedp.Do(ctx, call(page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{})) // the page waits for it
		case *log.EventEntryAdded:
			if strings.Contains(e.Entry.Text, "Content Security Policy") {
				t.Errorf("%s: %s", e.Entry.URL, e.Entry.Text)
			}
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

// call is a command of the browser's protocol whose answer isn't looked at.
func call[P, R any](command cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, command, params)
		return err
	})
}

// Media has the browser prefer a color scheme, or show pages as on paper.
func Media(kind, scheme string) chromedp.Action[chromedp.Void] {
	return call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: kind, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}

// Do takes steps.
func Do(t *testing.T, ctx context.Context, what string, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

// Script runs an expression for what it does.
func Script(expression string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Evaluate[bool](expression+"; true")(ctx, t)
		return chromedp.Void{}, err
	}
}

// Read waits until an expression in the page is true, for a minute at the
// most: the machine may have other things to do.
func Read(t *testing.T, ctx context.Context, what, expression string) {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end) && ctx.Err() == nil; time.Sleep(50 * time.Millisecond) {
		if ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression)); err == nil && ok { // a page that is being left answers with an error
			return
		}
	}
	text, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("location.href + '\\n' + document.body.innerText"))
	t.Fatalf("%s: the page never says so: %.2000s", what, text)
}
