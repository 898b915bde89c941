package workers

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/mail"
	"os"
	"os/exec"
	"os/signal"
	"runtime/pprof"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"freshet/cmd/freshet/internal/desk"
	"freshet/ingest/store"
	"freshet/ingest/store/pgtest"
)

var (
	kills = flag.Int("kills", 2, "how many times a worker is killed")
	seed  = flag.Uint64("seed", 0, "of the moments at which it is; 0: by the clock")
)

// workHere, in the environment of this test program, makes it a worker of the
// group whose address it holds; workAt says what time it is
// taken to be, atOnce how many shops it works for at a time, 2 unless said, and
// profileTo the folder for a profile of what it does.
const workHere, workAt, atOnce, profileTo = "FRESHET_TEST_WORK", "FRESHET_TEST_WORK_AT", "FRESHET_TEST_WORK_AT_ONCE", "FRESHET_TEST_PROFILE"

func TestMain(m *testing.M) {
	if address := os.Getenv(workHere); address != "" {
		if err := workUntilToldNotTo(address); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	flag.Parse()
	os.Exit(m.Run())
}

func workUntilToldNotTo(address string) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	at, err := time.Parse(time.RFC3339, os.Getenv(workAt))
	if err != nil {
		return err
	}
	later := time.Until(at)
	if folder := os.Getenv(profileTo); folder != "" {
		f, err := os.CreateTemp(folder, "*.pprof")
		if err != nil {
			return err
		}
		defer f.Close()
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	g, err := store.OpenGroup(ctx, address)
	if err != nil {
		return err
	}
	defer g.Close()
	c := testConfig(g, func() time.Time { return time.Now().Add(later) })
	if n := os.Getenv(atOnce); n != "" { // it measures what work takes, which may be longer
		c.Rescue = 0
		if c.AtOnce, err = strconv.Atoi(n); err != nil {
			return err
		}
	}
	return Run(ctx, c)
}

// rescued is how soon the work of a process that was killed is done by another:
// longer than any of these shops' work takes.
const rescued = 5 * time.Second

func testConfig(g *store.Group, now func() time.Time) Config {
	log := slog.New(slog.DiscardHandler)
	if testing.Testing() && os.Getenv("FRESHET_TEST_LOG") != "" {
		log = slog.New(slog.NewTextHandler(os.Stderr, nil))
	}
	return Config{Group: g, Now: now, Getenv: func(string) string { return "" }, Log: log, Version: "test", Weeks: 13, AtOnce: 2, Rescue: rescued, Looks: time.Second}
}

// letterbox is a mail server that counts each message by its ID.
type letterbox struct {
	mu  sync.Mutex
	got map[string]map[string]int // by recipient and subject's week, then by Message-ID
}

func (b *letterbox) NewSession(*smtp.Conn) (smtp.Session, error) { return &delivery{b: b}, nil }

type delivery struct {
	b  *letterbox
	to string
}

func (d *delivery) Mail(string, *smtp.MailOptions) error      { return nil }
func (d *delivery) Rcpt(to string, _ *smtp.RcptOptions) error { d.to = to; return nil }
func (d *delivery) Reset()                                    {}
func (d *delivery) Logout() error                             { return nil }
func (d *delivery) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	m, err := mail.ReadMessage(bytes.NewReader(text))
	if err != nil {
		return err
	}
	d.b.mu.Lock()
	defer d.b.mu.Unlock()
	if d.b.got[d.to] == nil {
		d.b.got[d.to] = map[string]int{}
	}
	d.b.got[d.to][m.Header.Get("Message-ID")]++
	return nil
}

func (b *letterbox) serve(t *testing.T) (port int) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := smtp.NewServer(b)
	go s.Serve(l)
	t.Cleanup(func() { s.Close() })
	return l.Addr().(*net.TCPAddr).Port
}

// group is one with shops that have a few weeks of records, and a letter each.
func group(t *testing.T, shops, port int, now time.Time) (*store.Group, string) {
	t.Helper()
	ctx := t.Context()
	address := pgtest.Database(t)
	g, err := store.OpenGroup(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { g.Close() })
	if err := Prepare(ctx, g); err != nil {
		t.Fatal(err)
	}
	for i := range shops {
		name := fmt.Sprint("shop", i)
		db, err := g.Add(ctx, name)
		if err != nil {
			t.Fatal(err)
		}
		for key, value := range map[string]string{desk.SettingName: name, desk.SettingZone: "UTC", "mail to": name + "@example.com", "mail from": "shop@example.com", "mail host": "127.0.0.1",
			"mail port": strconv.Itoa(port), "mail security": "none", "mail attach": "no", "mail since": now.AddDate(0, 0, -1).Format(time.RFC3339)} {
			if err := db.Set(ctx, key, value); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := db.TakeIn(ctx, store.HandIn{Name: "jobs.csv", File: strings.NewReader(fewJobs(now)), Size: int64(len(fewJobs(now)))}, today(now, time.UTC)+1, now, nil); err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return g, address
}

// fewJobs is an export of twelve weeks.
func fewJobs(now time.Time) string {
	var b strings.Builder
	b.WriteString("ro_number,dropped_off,kind\n")
	for i := range 60 {
		fmt.Fprintf(&b, "%d,%s,brakes\n", 1000+i, now.AddDate(0, 0, i*84/60-84).Format("2006-01-02"))
	}
	return b.String()
}

// Workers that are killed at any moment lose no letter and double none: of each
// week and shop one letter is made, and arrives. Where a worker dies between the
// server's yes and its own note of it, that letter's one message goes out a
// second time, as package post has it, under the same Message-ID.
func TestKilledWorkers(t *testing.T) {
	if *seed == 0 {
		*seed = uint64(time.Now().UnixNano())
	}
	rng := rand.New(rand.NewPCG(*seed, 0))
	t.Logf("-seed %d", *seed)
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	const shops, killsAWeek = 4, 4
	monday := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	box := &letterbox{got: map[string]map[string]int{}}
	g, address := group(t, shops, box.serve(t), monday)
	start := func(at time.Time) *exec.Cmd {
		t.Helper()
		// Who was killed leads for some seconds more; others needn't wait here.
		if _, err := g.Pool().Exec(t.Context(), "DELETE FROM freshet.river_leader"); err != nil {
			t.Fatal(err)
		}
		c := exec.CommandContext(t.Context(), program)
		c.Env = append(os.Environ(), workHere+"="+address, workAt+"="+at.Format(time.RFC3339))
		c.Stdout, c.Stderr = os.Stderr, os.Stderr
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		return c
	}
	killed, weeks, busy := 0, 0, 0
	for ; killed < *kills; weeks++ {
		at := monday.AddDate(0, 0, 7*weeks)
		for range min(killsAWeek, *kills-killed) {
			c := start(at)
			time.Sleep(time.Duration(rng.Int64N(int64(3 * time.Second))))
			if err := c.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			c.Wait()
			killed++
			var running int
			if err := g.Pool().QueryRow(t.Context(), "SELECT count(*) FROM freshet.river_job WHERE state = 'running' AND kind = 'shop'").Scan(&running); err != nil {
				t.Fatal(err)
			}
			busy += min(1, running)
		}
		time.Sleep(rescued)
		// Those who held a letter when they died hold it for ten minutes, and one
		// that may have arrived waits for another quarter of an hour.
		for later := 20 * time.Minute; !ended(t, g, weeks+1, shops); later += 20 * time.Minute {
			if later > 3*time.Hour {
				t.Fatalf("week %d: some letter isn't sent: %v", weeks, box.got)
			}
			c := start(at.Add(later))
			for deadline := time.Now().Add(15 * time.Second); time.Now().Before(deadline) && !ended(t, g, weeks+1, shops); {
				time.Sleep(100 * time.Millisecond)
			}
			c.Process.Signal(syscall.SIGTERM)
			if err := c.Wait(); err != nil {
				t.Errorf("a worker that is told to stop: %v", err)
			}
		}
	}
	second := 0
	for i := range shops {
		to := fmt.Sprintf("shop%d@example.com", i)
		if n := len(box.got[to]); n != weeks {
			t.Errorf("%s: want a letter for each of %d weeks, have %d", to, weeks, n)
		}
		for id, n := range box.got[to] {
			if n > 2 {
				t.Errorf("%s: letter %s arrived %d times", to, id, n)
			}
			second += n - 1
		}
	}
	t.Logf("%d workers killed, %d of them with shops' work in hand; %d letters, 0 lost, 0 made twice; the message of %d went out a second time", killed, busy, weeks*shops, second)
	if second > killed/10+1 {
		t.Errorf("want second copies to be rare, have %d", second)
	}
	if busy == 0 && killed >= 12 {
		t.Error("no worker had anything in hand when it was killed")
	}
}

// ended tells whether each shop's outbox has so many letters, all sent.
func ended(t *testing.T, g *store.Group, weeks, shops int) bool {
	t.Helper()
	for i := range shops {
		var all, sent int
		schema := fmt.Sprintf("shop_shop%d.letters", i)
		if err := g.Pool().QueryRow(t.Context(), "SELECT count(*), count(*) FILTER (WHERE state = 'sent') FROM "+schema).Scan(&all, &sent); err != nil {
			t.Fatal(err)
		}
		if all > weeks {
			t.Fatalf("shop %d has %d letters after %d weeks", i, all, weeks)
		}
		if sent < weeks {
			return false
		}
	}
	return true
}
