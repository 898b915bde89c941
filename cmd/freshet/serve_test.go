package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/web"
	"freshet/ingest/store"
)

// served starts freshet with a command that serves, on a free port, and gives
// its address. At the test's end it is told to stop, and must end well.
func served(t *testing.T, now func() time.Time, args ...string) string {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	out, w := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		status := run(ctx, append(args, "--listen", "127.0.0.1:0"), w, io.Discard, now)
		w.Close()
		ended <- status
	}()
	t.Cleanup(func() {
		stop()
		select {
		case status := <-ended:
			if status != done {
				t.Errorf("want a clean end, have status %d", status)
			}
		case <-time.After(time.Minute):
			t.Error("it doesn't end")
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal("no address is printed: ", err)
	}
	go io.Copy(io.Discard, out)
	_, rest, _ := strings.Cut(line, "http://")
	address, _, _ := strings.Cut(rest, " ")
	return "http://" + address
}

func page(t *testing.T, url string) string {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != 200 {
		t.Fatalf("%s: %d, %v, %s", url, r.StatusCode, err, b)
	}
	return string(b)
}

// settled gives the home page once no report is being made any more.
func settled(t *testing.T, url string) (home string) {
	t.Helper()
	// A report takes a minute under the race detector on a busy machine.
	for end := time.Now().Add(4 * time.Minute); time.Now().Before(end); {
		if home = page(t, url+"/"); !strings.Contains(home, "Working it out anew") {
			return home
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("the report is never made")
	return ""
}

// README's first command: the demo shop, served, marked as invented, here as
// of another day than today.
func TestDemo(t *testing.T) {
	t.Setenv("FRESHET_DB", "")
	t.Setenv("TMPDIR", t.TempDir())
	later := func() time.Time { return monday().AddDate(0, 7, 5) }
	home := settled(t, served(t, later, "demo", "--as-of", "2026-11-23"))
	for _, want := range []string{"an invented shop", "The pages show Monday, November 23, 2026, as if it were today.", "Quillback Bend RV Repair", "Monday, November 23, 2026", "Work against the crew", "What to decide", `type="application/json"`} {
		if !strings.Contains(home, want) {
			t.Errorf("want %q on the page", want)
		}
	}
	if strings.Contains(home, "Nothing came in") {
		t.Error("want records until the day before, have an import that is late")
	}
	if status, _, errs := call(t, "serve", "--as-of", "2026-11-23"); status != misuse || !strings.Contains(errs, "freshet demo --as-of") {
		t.Errorf("want no shop's own pages as of a day, have %d, %s", status, errs)
	}
	for _, name := range []string{"serve", "work"} {
		if status, out, _ := call(t, name, "--help"); status != done || !strings.Contains(out, "--weeks") || strings.Contains(out, "--as-of") {
			t.Errorf("%s: want no flag offered that is refused, have %d, %s", name, status, out)
		}
	}
}

// The invented shop that the pages show beside a shop's own goes with the program.
func TestInventedShopGoes(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the invented shop; ten times as long under the race detector")
	}
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	t.Run("served", func(t *testing.T) {
		base := served(t, monday, "serve", "--db", filepath.Join(t.TempDir(), "shop.db"))
		_, rest, _ := strings.Cut(settled(t, base), `name="token" value="`)
		token, _, _ := strings.Cut(rest, `"`)
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		r, err := (&http.Client{Jar: jar}).PostForm(base+"/demo", url.Values{"token": {token}})
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		for end := time.Now().Add(time.Minute); !strings.Contains(page(t, base+"/"), "Quillback Bend RV Repair"); time.Sleep(50 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("the invented shop is never shown: %d", r.StatusCode)
			}
		}
	})
	if left, err := filepath.Glob(filepath.Join(temp, "freshet-*")); err != nil || len(left) > 0 {
		t.Errorf("want nothing left, have %v, %v", left, err)
	}
}

// The demo never writes into a database that holds a shop's own records.
func TestDemoSparesARealShop(t *testing.T) {
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	if status, _, errs := call(t, "import", filepath.Join("..", "..", "testdata", "shop", "odd-export.csv"), "--accept-guesses"); status != done {
		t.Fatal(errs)
	}
	named := filepath.Join(t.TempDir(), "named.db") // and has nothing else in it yet
	if status, _, errs := call(t, "shop", "--db", named, "--name", "Ours"); status != done {
		t.Fatal(errs)
	}
	for _, db := range []string{os.Getenv("FRESHET_DB"), named} {
		if status, _, errs := call(t, "demo", "--db", db, "--listen", "127.0.0.1:99999"); status != failed || !strings.Contains(errs, "a shop of your own") {
			t.Errorf("want a refusal, have %d %q", status, errs)
		}
	}
}

// Another machine is served only once the owner has a passphrase and has
// switched the network on.
func TestListening(t *testing.T) {
	ctx := context.Background()
	db, err := store.Open(ctx, filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	try := func(listen string) string {
		address, err := listening(ctx, db, listen)
		if err != nil {
			return "refused"
		}
		return address
	}
	want := func(when string, wants map[string]string) {
		t.Helper()
		for listen, want := range wants {
			if have := try(listen); have != want {
				t.Errorf("%s, --listen %q: want %s, have %s", when, listen, want, have)
			}
		}
	}
	alone := map[string]string{"": usualListen, "127.0.0.1:9": "127.0.0.1:9", "localhost:9": "localhost:9", "0.0.0.0:9": "refused", ":9": "refused", "192.168.1.2:9": "refused", "9": "refused"}
	want("without a passphrase", alone)
	if err := db.Set(ctx, web.SettingNetwork, "yes"); err != nil {
		t.Fatal(err)
	}
	want("with the network on and no passphrase", alone)
	if err := db.SetPassphrase(ctx, "owner", "hash", monday()); err != nil {
		t.Fatal(err)
	}
	want("with both", map[string]string{"": "0.0.0.0:8137", "0.0.0.0:9": "0.0.0.0:9", "127.0.0.1:9": "127.0.0.1:9"})
	if status, _, errs := call(t, "access", "--reset", "--db", db.Path()); status != done {
		t.Fatal(errs)
	}
	want("after access --reset", alone)
}

// A served shop that is empty says so; once records came in, or a Monday has
// passed, the report is made anew.
func TestReportIsMadeAnew(t *testing.T) {
	if testing.Short() {
		t.Skip("makes three reports; under the race detector TestDemo makes one")
	}
	dir := t.TempDir()
	db := filepath.Join(dir, "shop.db")
	home := func(now func() time.Time) (text string) {
		t.Run("served", func(t *testing.T) { // ends before the next one begins
			text = settled(t, served(t, now, "serve", "--db", db))
		})
		return text
	}
	if text := home(monday); !strings.Contains(text, "Name, time zone and week") {
		t.Errorf("have %.200s", text)
	}
	if status, _, errs := call(t, "demo", "--files", dir); status != done {
		t.Fatal(errs)
	}
	for _, f := range []string{"crew.csv", "time-off.csv", "drop-offs.csv"} {
		if status, _, errs := call(t, "import", "--db", db, filepath.Join(dir, f)); status != done {
			t.Fatal(errs)
		}
	}
	if text := home(monday); !strings.Contains(text, "Monday, November 23, 2026") {
		t.Errorf("have %.200s", text)
	}
	sameWeek := func() time.Time { return monday().Add(48 * time.Hour) }
	if text := home(sameWeek); !strings.Contains(text, "Monday, November 23, 2026") {
		t.Error("nothing is due before the next Monday")
	}
	nextWeek := func() time.Time { return monday().Add(7 * 24 * time.Hour) }
	if text := home(nextWeek); !strings.Contains(text, "Monday, November 30, 2026") {
		t.Error("a Monday has passed: the report must be of this week")
	}
}

// Who serves the shop's network is told an address that a browser takes.
func TestAddress(t *testing.T) {
	for _, c := range []struct {
		ip   net.IP
		want string
	}{{net.IPv4zero, "Open http://localhost:8137 in"}, {net.IPv6unspecified, "Open http://localhost:8137 in"}, {net.IPv4(127, 0, 0, 1), "Open http://127.0.0.1:8137 in"}} {
		var out bytes.Buffer
		(&app{out: &out}).showAddress(&net.TCPAddr{IP: c.ip, Port: 8137})
		if text := out.String(); !strings.HasPrefix(text, c.want) || strings.Contains(text, "[::]") || c.ip.IsLoopback() && strings.Contains(text, "other machines") {
			t.Errorf("%v: want %q, have %q", c.ip, c.want, text)
		}
	}
}
