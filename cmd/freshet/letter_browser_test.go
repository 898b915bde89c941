package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/browse"

	"github.com/chromedp/chromedp"
)

var letterPictures = flag.String("letter-pictures", "", "write pictures of the letter into this folder")

// lookAtLetter shows a letter's page, its pictures in it, as wide as a phone
// and as a window of a mail program: nothing is cut off to the side, and the
// pictures are there, sharp on a screen with two dots a pixel.
func lookAtLetter(t *testing.T, message []byte) {
	t.Helper()
	ctx, loaded := browse.Open(t, 4*time.Minute)
	p := parts(t, message)
	page := string(p["text/html"])
	for name, png := range map[string][]byte{"hours.png": p["image/png"], "season.png": p["image/png again"]} { // as they came, in base64
		page = strings.ReplaceAll(page, "cid:"+name, "data:image/png;base64,"+strings.Join(strings.Fields(string(png)), ""))
	}
	file := filepath.Join(t.TempDir(), "letter.html")
	if err := os.WriteFile(file, []byte(page), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, width := range map[string]int64{"letter-phone.png": 360, "letter-wide.png": 700} {
		browse.Do(t, ctx, name, browse.Media("", "light"), chromedp.EmulateViewport(width, 800, chromedp.EmulateScale(2), chromedp.EmulateMobile), chromedp.Navigate("file://"+file))
		browse.Read(t, ctx, name+" fits", fmt.Sprintf(`document.documentElement.scrollWidth <= %d`, width))
		browse.Read(t, ctx, name+" has its pictures", `[...document.images].length == 2 && [...document.images].every(i => i.complete && i.naturalWidth >= 2*i.clientWidth && i.clientWidth > 300)`)
		audit(t, ctx, name)
		if *letterPictures == "" {
			continue
		}
		png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(*letterPictures, name), png, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, l := range loaded() {
		if strings.HasPrefix(l, "http") {
			t.Errorf("the letter loads %s", l)
		}
	}
}
