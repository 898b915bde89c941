package main

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest/demo"
)

var load = flag.Duration("load", 0, "how long TestLoad has 200 people look at the pages; with it, the tests named TestLoad… log what people waited")

// TestMain makes of this test's program freshet itself where a test asks for a
// process of its own.
func TestMain(m *testing.M) {
	if os.Getenv("FRESHET_ALONE") != "" {
		main()
	}
	os.Exit(m.Run())
}

// alone starts freshet in a process of its own, and gives its address, how long
// its first page took from the start, and the memory that it takes now and took
// at the most since the last call, in MB (0 where the system doesn't say).
func alone(t *testing.T, args ...string) (base string, first time.Duration, memory func() (now, most int)) {
	t.Helper()
	began := time.Now()
	c := exec.Command(os.Args[0], append(args, "--listen", "127.0.0.1:0")...)
	c.Env = append(os.Environ(), "FRESHET_ALONE=yes")
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		c.Process.Signal(syscall.SIGTERM)
		if err := c.Wait(); err != nil {
			t.Errorf("want a clean end, have %v", err)
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal("no address is printed: ", err)
	}
	go io.Copy(io.Discard, out)
	_, rest, _ := strings.Cut(line, "http://")
	address, _, _ := strings.Cut(rest, " ")
	base = "http://" + address
	page(t, base+"/")
	first = time.Since(began)
	proc := fmt.Sprintf("/proc/%d/", c.Process.Pid)
	return base, first, func() (now, most int) {
		text, _ := os.ReadFile(proc + "status")
		for line := range strings.Lines(string(text)) {
			fmt.Sscanf(line, "VmRSS: %d", &now)
			fmt.Sscanf(line, "VmHWM: %d", &most)
		}
		os.WriteFile(proc+"clear_refs", []byte("5"), 0) // the most counts anew
		return now / 1024, most / 1024
	}
}

// everyPage are those that people look at.
var everyPage = []string{"/", "/outlook", "/watch", "/crew", "/quote", "/quote/answer?kind=cooling&hours=4", "/jobs", "/records", "/report", "/kinds", "/settings", "/time-off"}

// waits has n people look at pages until stop, with up to two seconds between
// one page and the next, and logs what they waited. Every answer has to be a
// good one; that they had to wait fails nothing.
func waits(t *testing.T, what, base string, n int, stop <-chan struct{}) {
	t.Helper()
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: n}}
	var mu sync.Mutex
	var all []time.Duration
	by := map[string][]time.Duration{}
	var people sync.WaitGroup
	for i := range n {
		rng := rand.New(rand.NewPCG(1, uint64(i)))
		people.Go(func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(time.Duration(rng.Int64N(int64(2 * time.Second)))):
				}
				path, start := everyPage[rng.IntN(len(everyPage))], time.Now()
				r, err := client.Get(base + path)
				if err != nil {
					t.Error(err)
					return
				}
				if _, err := io.Copy(io.Discard, r.Body); err != nil || r.StatusCode != 200 {
					t.Errorf("%s: %d, %v", path, r.StatusCode, err)
				}
				r.Body.Close()
				mu.Lock()
				d := time.Since(start)
				all, by[path] = append(all, d), append(by[path], d)
				mu.Unlock()
			}
		})
	}
	people.Wait()
	if len(all) < n {
		t.Fatalf("only %d pages were looked at", len(all))
	}
	say := func(name string, d []time.Duration) {
		slices.Sort(d)
		at := func(p float64) time.Duration { return d[int(p*float64(len(d)-1))].Round(100 * time.Microsecond) }
		t.Logf("%-36s %5d pages: half within %v, 99 in 100 within %v, all within %v", name, len(d), at(.5), at(.99), at(1))
	}
	say(what, all)
	for _, p := range everyPage {
		if len(by[p]) > 0 {
			say(p, by[p])
		}
	}
}

func measured(t *testing.T) {
	t.Helper()
	if *load == 0 {
		t.Skip("a measurement: go test ./cmd/freshet -run TestLoad -v -load 20s")
	}
}

// 200 people look at the pages of the demo shop.
func TestLoad(t *testing.T) {
	measured(t)
	base, _, memory := alone(t, "demo")
	settled(t, base)
	idle, _ := memory()
	stop := make(chan struct{})
	time.AfterFunc(*load, func() { close(stop) })
	waits(t, "200 people", base, 200, stop)
	now, most := memory()
	t.Logf("memory: %d MB before, %d MB after, %d MB at the most", idle, now, most)
}

// 50 people look at the pages while a file of a million rows comes in over them.
func TestLoadDuringImport(t *testing.T) {
	measured(t)
	base, _, memory := alone(t, "serve", "--db", shopOf(t, demo.SixYears(demoSeed, forecast.DateOf(time.Now()))))
	settled(t, base)
	memory()
	file := filepath.Join(t.TempDir(), "million.csv")
	const rows = 1_000_000
	if err := writeFile(file, func(w io.Writer) error {
		b := bufio.NewWriter(w)
		fmt.Fprintln(b, "ro_number,dropped_off,kind,quoted_hours,clocked_hours,ready,status")
		day := forecast.DateOf(time.Now()) - 3000
		for i := range rows {
			d := day + forecast.Date(i/400)
			fmt.Fprintf(b, "%d,%s,%s,%.1f,%.1f,%s,closed\n", 1e6+i, d, []string{"cooling", "plumbing", "electrical"}[i%3], 1+float64(i%40)/10, 1+float64(i%50)/10, d+9)
		}
		return b.Flush()
	}); err != nil {
		t.Fatal(err)
	}
	stop, said := make(chan struct{}), make(chan string, 1)
	began := time.Now()
	go func() {
		defer close(stop)
		said <- handOver(t, base, file)
	}()
	waits(t, "50 people during the import", base, 50, stop)
	now, most := memory()
	t.Logf("%s in %v; memory: %d MB after, %d MB at the most", <-said, time.Since(began).Round(time.Second), now, most)
}

// handOver takes a file in by the pages, as a browser does, and gives what the
// page says in the end.
func handOver(t *testing.T, base, file string) string {
	token := func(text string) string {
		return regexp.MustCompile(`name="token" value="([^"]+)"`).FindStringSubmatch(text)[1]
	}
	var head, tail bytes.Buffer
	m := multipart.NewWriter(&head)
	m.WriteField("token", token(page(t, base+"/records")))
	m.CreateFormFile("file", filepath.Base(file))
	fmt.Fprintf(&tail, "\r\n--%s--\r\n", m.Boundary())
	f, err := os.Open(file)
	if err != nil {
		t.Error(err)
		return ""
	}
	defer f.Close()
	r, err := http.Post(base+"/import", m.FormDataContentType(), io.MultiReader(&head, f, &tail))
	if err != nil {
		t.Error(err)
		return ""
	}
	text, _ := io.ReadAll(r.Body)
	r.Body.Close()
	at := r.Request.URL.String()
	form := url.Values{"token": {token(string(text))}}
	for i, name := range []string{"ro_number", "dropped_off", "kind", "quoted_hours", "clocked_hours", "ready", "status"} {
		form.Set(fmt.Sprint("column.", i), name)
	}
	if r, err = http.PostForm(at, form); err != nil || r.StatusCode != 200 {
		t.Errorf("%v, %v", r, err)
		return ""
	}
	r.Body.Close()
	for {
		text := page(t, at)
		if _, rest, ok := strings.Cut(text, "It is in: "); ok {
			said, _, _ := strings.Cut(rest, "<")
			return said
		}
		if !strings.Contains(text, "being taken in") {
			t.Errorf("have %s", text)
			return ""
		}
		time.Sleep(250 * time.Millisecond)
	}
}

// shopOf gives the database of an invented shop, its files taken in.
func shopOf(t *testing.T, spec demo.Spec) string {
	t.Helper()
	dir := t.TempDir()
	db := filepath.Join(dir, "shop.db")
	for _, f := range demo.Generate(spec).Files() {
		path := filepath.Join(dir, f.Name)
		if err := writeFile(path, f.Write); err != nil {
			t.Fatal(err)
		}
		c := exec.Command(os.Args[0], "import", "--db", db, path)
		c.Env = append(os.Environ(), "FRESHET_ALONE=yes")
		if out, err := c.CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	return db
}

// How long it takes from the start to the first page, on a shop of ten years:
// the first time ever, and once a report has been made.
func TestLoadStart(t *testing.T) {
	measured(t)
	today := forecast.DateOf(time.Now())
	db := shopOf(t, demo.Spec{Seed: demoSeed, From: today - 3653, Until: today})
	for _, when := range []string{"no report yet", "its report made"} {
		t.Run(when, func(t *testing.T) {
			base, first, memory := alone(t, "serve", "--db", db)
			began := time.Now()
			settled(t, base)
			now, most := memory()
			t.Logf("first page %v after the start, all of it worked out %v later; memory %d MB, %d MB at the most", first.Round(time.Millisecond), time.Since(began).Round(time.Millisecond), now, most)
		})
	}
}
