package store

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
)

// jobs gives n rows, the first of them numbered from.
type jobs struct {
	from, n, at int
	hours       float64
	each        func(row int) // before each row
}

func (j *jobs) Next() bool {
	if j.at++; j.each != nil && j.at <= j.n {
		j.each(j.at)
	}
	return j.at <= j.n
}
func (j *jobs) Record() ingest.Record {
	return &ingest.DropOff{RO: fmt.Sprint(j.from + j.at), DroppedOff: forecast.NewDate(2026, 1, 5) + forecast.Date(j.at/50), Nth: 1, Kind: "plumbing", QuotedHours: ingest.Opt[float64]{V: j.hours, Valid: true}}
}
func (j *jobs) Warnings() []error        { return nil }
func (j *jobs) Reject() *ingest.RowError { return nil }
func (j *jobs) Cells() []string          { return nil }
func (j *jobs) Err() error               { return nil }

var takenIn = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// name tells jobs of other numbers apart.
func (j *jobs) name() string { return fmt.Sprintf("jobs from %d.csv", j.from) }

func importJobs(s *Store, j *jobs) (Batch, error) {
	return s.Import(context.Background(), Batch{File: j.name(), Kind: ingest.DropOffs, TakenIn: takenIn}, j, nil)
}

func openAt(t testing.TB, path string) *Store {
	t.Helper()
	OfAFile(t)
	s, err := Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func checked(t testing.TB, s *Store) Health {
	t.Helper()
	h, err := s.Check(context.Background())
	if err != nil || len(h.Faults) > 0 {
		t.Fatalf("have %v, %v", h.Faults, err)
	}
	return h
}

// A victim is what the child of TestKill is told: to work on a database, and
// to stand still at a phase for the n-th time it gets there. At inWrite, it is
// killed by the shim in the n-th write or sync.
type victim struct {
	Path, Phase string
	N, From     int
}

const inWrite = "in a write"

func TestMain(m *testing.M) {
	read := func(name string, into any) bool {
		text, ok := os.LookupEnv(name)
		if ok {
			if err := json.Unmarshal([]byte(text), into); err != nil {
				panic(err)
			}
		}
		return ok
	}
	var v victim
	var c shimmed
	switch {
	case read("FRESHET_VICTIM", &v):
		work(v)
	case read("FRESHET_SHIMMED", &c):
		if err := json.NewEncoder(os.Stdout).Encode(c.work()); err != nil {
			panic(err)
		}
	default:
		os.Exit(m.Run())
	}
}

// work imports batches of 200 rows, half of them known and changed, makes a
// backup after each, has the log written back, and says what was acknowledged.
func work(v victim) {
	left := v.N
	stand := func(phase string) {
		if phase == v.Phase {
			if left--; left == 0 {
				fmt.Println("stands at " + phase)
				select {}
			}
		}
	}
	reached = stand
	stand("open")
	s, err := Open(context.Background(), v.Path)
	if err != nil {
		panic(err)
	}
	for i := v.From; ; i++ {
		if _, err := importJobs(s, &jobs{from: 100 * i, n: 200, hours: float64(i), each: func(int) { stand("row") }}); err != nil {
			panic(err)
		}
		fmt.Println("acknowledged")
		stand("between")
		if _, err := s.Backup(context.Background(), v.Path+".backup", time.Unix(0, 0)); err != nil {
			panic(err)
		}
		stand("backed up")
		if err := s.Close(); err != nil {
			panic(err)
		}
		stand("closed")
		if s, err = Open(context.Background(), v.Path); err != nil {
			panic(err)
		}
	}
}

var (
	killing  = flag.Int("kills", 40, "imports to kill, at all phases in turn")
	killSeed = flag.Uint64("killseed", 7, "of the moments at which they are killed")
)

// A process killed at any phase of an import or a backup leaves a sound
// database with all that it had acknowledged, at most one batch more, and
// nothing by halves; and a sound backup, if there is one.
func TestKill(t *testing.T) {
	OfAFile(t)
	kills := *killing
	if testing.Short() {
		kills = 8
	}
	phases := []string{"open", "insert", "row", "commit", "committed", "between", "replace", "backed up", "closed"}
	shim, err := compileShim(t)
	if err == nil { // half of the kills
		phases = append(phases, slices.Repeat([]string{inWrite}, len(phases))...)
	} else {
		t.Log("no kills within a write: ", err)
	}
	hits := map[string]int{}
	r := rand.New(rand.NewPCG(*killSeed, 1))
	path := filepath.Join(t.TempDir(), "shop.db")
	done := 0 // batches on record
	for kill := range kills {
		v := victim{Path: path, Phase: phases[kill*7%len(phases)], N: 1 + r.IntN(2), From: done}
		switch v.Phase {
		case "open":
			v.N = 1
		case "row":
			v.N = 1 + r.IntN(300)
		case inWrite:
			v.N = 1 + r.IntN(150)
		}
		acknowledged, where := killAt(t, v, shim)
		hits[where]++
		s := openAt(t, path)
		h := checked(t, s)
		if have := h.Batches - done; have < acknowledged || have > acknowledged+1 {
			t.Fatalf("kill %d at %q: want %d batches more or one beyond, have %d", kill, v.Phase, acknowledged, have)
		}
		if v.Phase == "committed" && h.Batches-done != acknowledged+1 {
			t.Fatalf("kill %d: a committed batch is lost", kill)
		}
		done = h.Batches
		// Each batch brought 100 new rows and changed 100 of the one before.
		want := 0
		if done > 0 {
			want = 100*done + 100
		}
		if h.Records["job_lines"] != want {
			t.Fatalf("kill %d at %q: want %d rows after %d batches, have %d", kill, v.Phase, want, done, h.Records["job_lines"])
		}
		s.Close()
		if _, err := os.Stat(path + ".backup"); err == nil {
			b := openAt(t, path+".backup")
			if h := checked(t, b); h.Batches == 0 {
				t.Fatalf("kill %d at %q: the backup holds nothing", kill, v.Phase)
			}
			b.Close()
		}
	}
	t.Logf("%d kills of seed %d, by where they hit: %v", kills, *killSeed, hits)
}

// killAt runs a victim, kills it where it stands, or has the shim kill it, and
// gives how many batches it acknowledged and where it was hit.
func killAt(t *testing.T, v victim, shim string) (acknowledged int, where string) {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	c := exec.CommandContext(ctx, os.Args[0])
	c.Env = append(os.Environ(), "FRESHET_VICTIM="+string(text))
	log := v.Path + ".log"
	if v.Phase == inWrite {
		os.Remove(log)
		c.Env = append(c.Env, "LD_PRELOAD="+shim, "SHIM_DB="+v.Path, "SHIM_LOG="+log, fmt.Sprintf("SHIM_FAIL=%d 0 0", v.N))
	}
	var errs strings.Builder
	c.Stderr = &errs
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	stood := false
	for lines := bufio.NewScanner(out); !stood && lines.Scan(); {
		switch line := lines.Text(); {
		case line == "acknowledged":
			acknowledged++
		case strings.HasPrefix(line, "stands at"):
			stood = true
		}
	}
	c.Process.Kill()
	io.Copy(io.Discard, out)
	c.Wait()
	if v.Phase == inWrite {
		hit := readLog(t, log)
		if last := hit[len(hit)-1]; last.op == 'F' && c.ProcessState.String() == "signal: killed" {
			return acknowledged, fmt.Sprintf("%s (%c of %c)", inWrite, last.at, last.file)
		}
	}
	if !stood {
		t.Fatalf("it never stood at %q: %s", v.Phase, errs.String())
	}
	return acknowledged, v.Phase
}

// An import cancelled at any row leaves nothing, and the writer in order.
func TestCancel(t *testing.T) {
	s := Empty(t)
	if _, err := importJobs(s, &jobs{n: 100, hours: 1}); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 3))
	for range 300 {
		ctx, cancel := context.WithCancel(context.Background())
		stop := 1 + r.IntN(300)
		_, err := s.Import(ctx, Batch{Kind: ingest.DropOffs}, &jobs{n: 300, hours: 2, each: func(row int) {
			if row == stop {
				cancel()
			}
		}}, nil)
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Fatalf("want it cancelled at row %d, have %v", stop, err)
		}
	}
	if h := checked(t, s); h.Batches != 1 || h.Records["job_lines"] != 100 {
		t.Errorf("want the first batch alone, have %+v", h)
	}
	if b, err := importJobs(s, &jobs{n: 300, hours: 2}); err != nil || b.Updated != 100 || b.Added != 200 {
		t.Errorf("want the writer in order, have %+v, %v", b, err)
	}
}

// A panic while rows are read doesn't leave the transaction open.
func TestPanicInRows(t *testing.T) {
	s := Empty(t)
	func() {
		defer func() {
			if recover() == nil {
				t.Error("want the panic passed on")
			}
		}()
		importJobs(s, &jobs{n: 10, each: func(row int) {
			if row == 5 {
				panic("rows")
			}
		}})
	}()
	if b, err := importJobs(s, &jobs{n: 10}); err != nil || b.Added != 10 {
		t.Errorf("want the writer in order, have %+v, %v", b, err)
	}
}

// A full disk is said in plain words, and nothing is half done: of an import,
// and of a backup.
func TestDiskFull(t *testing.T) {
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be made here: %v %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", dir).Run() })
	path := filepath.Join(dir, "shop.db")
	s := openAt(t, path)
	if _, err := importJobs(s, &jobs{n: 1000, hours: 1}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if _, err := importJobs(s, &jobs{n: 30_000, hours: 2}); err == nil || !strings.Contains(err.Error(), "disk is full") {
			t.Fatalf("want a full disk, have %v", err)
		}
	}
	if h := checked(t, s); h.Batches != 1 || h.Records["job_lines"] != 1000 {
		t.Errorf("want the first batch alone, have %+v", h)
	}
	filler := filepath.Join(dir, "filler")
	os.WriteFile(filler, make([]byte, 4<<20), 0o600) // as much as goes in
	if _, err := s.Backup(context.Background(), filepath.Join(dir, "backup.db"), time.Unix(0, 0)); err == nil {
		t.Error("want no backup on a full disk")
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".backup*")); len(left) > 0 {
		t.Errorf("want nothing left, have %v", left)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if _, err := importJobs(s, &jobs{n: 1100, hours: 1}); !errors.As(err, new(*Refusal)) {
		t.Errorf("want no write after a failed commit, have %v", err)
	}
	s.Close()
	s = openAt(t, path)
	if b, err := importJobs(s, &jobs{n: 1100, hours: 1}); err != nil || b.Added != 100 {
		t.Errorf("want the writer in order, have %+v, %v", b, err)
	}
}

// Values written are read back, and damaged ones refused.
func TestCode(t *testing.T) {
	values := []any{nil, int64(-3), 2.5, 1e-300, "", "a\x00b", "3:x", int64(2), 2.0}
	var text bytes.Buffer
	encode(&text, values)
	if back, err := decode(text.Bytes()); err != nil || !slices.Equal(back, values) {
		t.Errorf("want %v, have %v, %v", values, back, err)
	}
	for _, bad := range []string{"x\x00", "s5:ab\x00", "s-1:\x00", "i\x00", "fx\x00", "s1:a", "-", "s9223372036854775807:\x00"} {
		if v, err := decode([]byte(bad)); err == nil {
			t.Errorf("%q: want an error, have %v", bad, v)
		}
	}
}

// The fast way to write a number is strconv's to the byte: digests rest on it.
func TestAppendFloat(t *testing.T) {
	for n := range 300_000 {
		v := float64(n*7-1000) / 100
		for _, v := range []float64{v, math.Nextafter(v, 0), v / 3} {
			if have, want := appendFloat(nil, v), strconv.AppendFloat(nil, v, 'g', -1, 64); !bytes.Equal(have, want) {
				t.Fatalf("want %s, have %s", want, have)
			}
		}
	}
}

// Memory for a million rows does not grow with them.
func BenchmarkMillion(b *testing.B) {
	for b.Loop() {
		s := openAt(b, filepath.Join(b.TempDir(), "shop.db"))
		start := time.Now()
		if _, err := importJobs(s, &jobs{n: 1_000_000, hours: 1}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(1e6/time.Since(start).Seconds(), "rows/s")
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		b.ReportMetric(float64(m.Sys>>20), "MB")
		start = time.Now()
		if _, err := importJobs(s, &jobs{n: 1_000_000, hours: 1}); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(1e6/time.Since(start).Seconds(), "unchanged/s")
		s.Close()
	}
}
