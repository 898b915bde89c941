package main

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/browse"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

var pictures = flag.String("pictures", "", "write pictures of the pages into this folder, from TestDayInABrowser and TestGroupInABrowser")

// A day's work in a browser, on the demo shop: a quote that answers while one
// types, kept and printed; what makes a week and what if, by the keyboard; a job
// put right; a vacation taken out and put back.
func TestDayInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	t.Setenv("FRESHET_DB", "")
	t.Setenv("TMPDIR", t.TempDir())
	ctx, _ := browse.Open(t, 4*time.Minute)
	base := served(t, monday, "demo")
	settled(t, base)
	if *pictures != "" {
		takePictures(t, base)
	}
	click := func(what, css string) {
		t.Helper()
		browse.Do(t, ctx, what, browse.Script(fmt.Sprintf(`(e => { e.click() })(document.querySelector(%q))`, css)))
	}
	settle := func(what, expression string) {
		t.Helper()
		browse.Read(t, ctx, what, `!document.body.innerText.includes('Working it out anew') && `+expression)
	}

	browse.Do(t, ctx, "a quote", chromedp.EmulateViewport(1280, 900), chromedp.Navigate(base+"/quote"),
		browse.Script(`document.querySelector('[name=kind]').value = 'cooling'; document.querySelector('[name=kind]').dispatchEvent(new Event('input', {bubbles: true}))`),
		chromedp.Focus(chromedp.CSS("[name=hours]")), chromedp.KeyEvent("3.5"))
	browse.Read(t, ctx, "the dates stand there without a click", `document.querySelectorAll('#answer dl.dates dd').length == 3 && document.querySelector('#answer').innerText.includes('3.5 hours') && location.search == ''`)
	browse.Do(t, ctx, "keeping it", browse.Script(`document.querySelector('#answer [name=ro]').value = 'Q-77'; document.querySelector('#answer form').requestSubmit()`))
	browse.Read(t, ctx, "the quote is kept", `document.body.innerText.includes('The quote is kept.') && document.body.innerText.includes('Q-77')`)
	click("the slip", "td a[href$=slip]")
	browse.Read(t, ctx, "the slip", `document.querySelector('h1').innerText == 'When your rig will likely be ready' && document.body.innerText.includes('repair order Q-77')`)
	audit(t, ctx, "the slip")
	browse.Do(t, ctx, "the slip on paper", browse.Media("print", "light"))
	browse.Read(t, ctx, "the slip on paper is the slip alone", `document.querySelector('nav').offsetHeight == 0 && document.querySelector('button').offsetHeight == 0 && document.querySelector('.dates').offsetHeight > 0 && document.body.scrollHeight < 1000`)

	browse.Do(t, ctx, "what makes a week", browse.Media("", "light"), chromedp.Navigate(base+"/outlook"))
	browse.Read(t, ctx, "the outlook", `!!document.querySelector('.chart svg')`)
	const saysNow = `[...document.querySelectorAll('#why > p')].filter(p => !p.hidden).map(p => p.innerText).join()`
	browse.Read(t, ctx, "this week's reasons", saysNow+`.includes('November 23')`)
	browse.Do(t, ctx, "by the keyboard", chromedp.Focus(chromedp.CSS("[data-week]")), chromedp.KeyEvent(strings.Repeat(kb.ArrowRight, 3)))
	browse.Read(t, ctx, "a later week's reasons", saysNow+`.includes('December')`)
	browse.Do(t, ctx, "by pointing", browse.Script(`document.querySelectorAll('[data-weeks] tr')[1].dispatchEvent(new Event('pointerenter'))`))
	browse.Read(t, ctx, "the week pointed at", saysNow+`.includes('November 30') && document.querySelector('[data-week]').value == 1`)

	browse.Do(t, ctx, "what if", chromedp.Navigate(base+"/crew"))
	browse.Read(t, ctx, "as things stand", `document.querySelector('#says').innerText.startsWith('As things stand') && !document.querySelector('#tried').innerText.includes('→')`)
	began := time.Now()
	browse.Do(t, ctx, "a technician more", browse.Script(`window.says = document.querySelector('#says')`), chromedp.Focus(chromedp.CSS("[name=tech]")), chromedp.KeyEvent(kb.ArrowRight))
	browse.Read(t, ctx, "the slider says its value", `document.activeElement.getAttribute('aria-valuetext') == '1 technician more' && document.querySelector('.sliders .value').innerText == '1 technician more'`)
	browse.Read(t, ctx, "the answer is there", `window.says.isConnected && window.says.innerText.startsWith('What if: 1 technician more. Then') && document.querySelectorAll('#tried td').length > 100 && document.querySelector('#tried').innerText.includes('→') && !!document.querySelector('#tried svg') && location.search == ''`)
	t.Logf("a what-if was roughly answered %v after a key was pressed", time.Since(began).Round(time.Millisecond))
	browse.Read(t, ctx, "the exact answer follows by itself", `window.says.innerText.startsWith('What if: 1 technician more. Then') && !window.says.innerText.includes('Roughly')`)
	t.Logf("and exactly %v after it", time.Since(began).Round(time.Millisecond))
	browse.Do(t, ctx, "two more", chromedp.KeyEvent(kb.ArrowRight+kb.ArrowRight))
	browse.Read(t, ctx, "the last position is what is answered", `window.says.innerText.startsWith('What if: 3 technicians more. Then') && !window.says.innerText.includes('Roughly')`)
	audit(t, ctx, "a what-if")

	browse.Do(t, ctx, "a job", chromedp.Navigate(base+"/jobs"))
	click("the first job", "th a[href^='/jobs/line']")
	browse.Read(t, ctx, "the job's form", `!!document.querySelector('[name=quoted_hours]')`)
	audit(t, ctx, "a job")
	browse.Do(t, ctx, "its hours", browse.Script(`document.querySelector('[name=quoted_hours]').value = '7.75'; document.querySelector('[name=quoted_hours]').form.requestSubmit()`))
	settle("the job is saved", `document.querySelector('[name=quoted_hours]').value == '7.75' && document.body.innerText.includes('quoted hours from')`)

	browse.Do(t, ctx, "time off", chromedp.Navigate(base+"/time-off"))
	click("taking it out", "[name=step][value=out] ~ button")
	settle("it is out", `document.body.innerText.includes('It is off the calendar.') && !!document.querySelector('[name=step][value=back]')`)
	click("putting it back", "[name=step][value=back] ~ button")
	settle("it is back", `document.body.innerText.includes('It is back on the calendar.') && !document.querySelector('[name=step][value=back]')`)
}

// takePictures shows each page of the navigation as wide as a window and as a
// phone, and keeps what is seen first of each.
func takePictures(t *testing.T, base string) {
	t.Helper()
	ctx, _ := browse.Open(t, 4*time.Minute)
	browse.Do(t, ctx, "the first page", chromedp.Navigate(base+"/"))
	links, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`[...document.querySelectorAll('nav a')].map(a => a.getAttribute('href'))`))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range links {
		name := strings.Trim(p, "/")
		if name == "" {
			name = "week"
		}
		if p == "/quote" {
			p += "?kind=cooling&hours=4&part=here"
		}
		for suffix, size := range map[string][2]int64{"wide": {1280, 1000}, "phone": {390, 844}} {
			browse.Do(t, ctx, p, browse.Media("", "light"), chromedp.EmulateViewport(size[0], size[1]), chromedp.Navigate(base+p))
			browse.Read(t, ctx, p+" is drawn", `[...document.querySelectorAll('.chart')].every(c => !!c.querySelector('svg'))`)
			shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			if shot, err = fewColors(shot); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(*pictures, "page-"+name+"-"+suffix+".png"), shot, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// fewColors writes a picture anew with the 256 colors that it has most of: a
// third of the bytes, and a page has few.
func fewColors(shot []byte) ([]byte, error) {
	from, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		return nil, err
	}
	count := map[color.Color]int{}
	at := from.Bounds()
	for y := at.Min.Y; y < at.Max.Y; y++ {
		for x := at.Min.X; x < at.Max.X; x++ {
			count[from.At(x, y)]++
		}
	}
	var most color.Palette
	for c := range count {
		most = append(most, c)
	}
	slices.SortFunc(most, func(a, b color.Color) int { return count[b] - count[a] })
	most = most[:min(256, len(most))]
	to := image.NewPaletted(at, most)
	nearest := map[color.Color]uint8{}
	for y := at.Min.Y; y < at.Max.Y; y++ {
		for x := at.Min.X; x < at.Max.X; x++ {
			c := from.At(x, y)
			i, ok := nearest[c]
			if !ok {
				i = uint8(most.Index(c))
				nearest[c] = i
			}
			to.SetColorIndex(x, y, i)
		}
	}
	var out bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, to)
	return out.Bytes(), err
}
