package web

import (
	"flag"
	"fmt"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/browse"

	"github.com/chromedp/chromedp"
)

var (
	allPayloads  = flag.Int("payloads", 0, "in how many rounds TestPayloadsInABrowser has each text field take a payload: after 60 each has taken all")
	firstPayload = flag.Int("payload", 0, "the first of these rounds")
)

// textFields are those of a page that a person can type any text into.
const textFields = `[...document.querySelectorAll('main form input:not([type]), main form input[type=text], main form textarea')]`

// Payloads are typed into each text field of each page, and come in by files.
// The pages that show them then run and load nothing of theirs: no dialog, no
// breach of the content policy (browse watches over both), no foreign request.
func TestPayloadsInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	ctx, loaded := browse.Open(t, time.Hour)
	s := open(t)
	var busy atomic.Bool // while it is set, older answers do
	s.Working = busy.Load
	s.fill()
	site := httptest.NewServer(s.Server)
	t.Cleanup(site.Close)
	rounds, every := *allPayloads, 1
	if rounds == 0 {
		rounds, every = 1, 6 // a sample
	}
	typed, seen := 0, 0
	for round := *firstPayload; round < *firstPayload+rounds; round++ {
		payload := payloads[round%len(payloads)]
		look := func(path string) {
			browse.Do(t, ctx, path, chromedp.Navigate(site.URL+path))
			text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText + [...document.querySelectorAll('input')].map(i => i.value).join(' ')`))
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			for _, p := range payloads {
				seen += strings.Count(text, p)
			}
		}
		s.keep(payload)
		busy.Store(false)
		s.Warm(t.Context())
		busy.Store(true)
		lines, err := s.db.Orders(t.Context(), "1")
		if err != nil || len(lines) == 0 {
			t.Fatal(lines, err)
		}
		look(s.upload(payload+".csv", "ro_number,dropped_off,"+quoted(payload)+"\n1,2026-11-02,"+quoted(payload)+"\n").Header().Get("Location"))
		for _, path := range []string{"/settings", "/time-off", "/kinds", "/watch", "/jobs", "/jobs/line?key=" + url.QueryEscape(lines[len(lines)-1].Key), "/quote?kind=cooling&hours=4", "/crew"} {
			browse.Do(t, ctx, path, chromedp.Navigate(site.URL+path))
			fields, err := chromedp.Run(ctx, chromedp.Evaluate[int](textFields+`.length`))
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			for i := range fields {
				typed++
				if typed%every != 0 {
					continue
				}
				browse.Do(t, ctx, path, chromedp.Navigate(site.URL+path),
					browse.Script(fmt.Sprintf(`(e => { window.left = false; e.value = %q; e.form.submit() })(%s[%d])`,
						payloads[(typed+round)%len(payloads)], textFields, i)))
				browse.Read(t, ctx, path, `!('left' in window) && document.readyState == 'complete'`)
			}
		}
		for _, rt := range s.routes() {
			if rt.name != "" {
				look(strings.TrimSuffix(rt.path, "{$}"))
			}
		}
	}
	t.Logf("%d fields were typed into, and payloads stood on pages %d times", typed/every, seen)
	if seen < 10 {
		t.Errorf("the pages show too little of what was typed: %d times", seen)
	}
	for _, l := range loaded() {
		if !strings.HasPrefix(l, site.URL) && !strings.HasPrefix(l, "data:") && !strings.HasPrefix(l, "chrome:") && !strings.HasPrefix(l, "about:") {
			t.Errorf("a foreign request: %s", l)
		}
	}
}
