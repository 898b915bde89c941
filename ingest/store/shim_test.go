package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A shimmed child imports batches with testdata/shim.c between SQLite and the
// C library. Batch i, from 0, holds Rows rows, the first half of which are
// those of the batch before, changed.
type shimmed struct {
	Path, Log     string
	From, Batches int
	Rows          int
}

// did is what a shimmed child says at its end: errors as people see them, ""
// for none.
type did struct {
	Opened  string
	Writes  []string // an import, then a setting, for each batch
	Stopped []bool   // whether it was because the writer is stopped
	Read    string
	Closed  string
}

func (c shimmed) work() did {
	var d did
	ctx := context.Background()
	say := func(err error) string {
		if err == nil {
			return ""
		}
		return err.Error()
	}
	log, err := os.OpenFile(c.Log, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		panic(err)
	}
	s, err := Open(ctx, c.Path)
	if err != nil {
		d.Opened = say(err)
		return d
	}
	for i := c.From; i < c.From+c.Batches; i++ {
		_, err := importJobs(s, c.batch(i))
		if err == nil {
			log.Write(record{op: 'A'}.bytes())
		}
		for _, err := range []error{err, s.Set(ctx, "batch", fmt.Sprint(i))} {
			d.Writes, d.Stopped = append(d.Writes, say(err)), append(d.Stopped, errors.As(err, new(*Refusal)))
		}
	}
	_, err = s.Batches(ctx, 10)
	d.Read, d.Closed = say(err), say(s.Close())
	return d
}

func (c shimmed) batch(i int) *jobs {
	return &jobs{from: c.Rows / 2 * i, n: c.Rows, hours: float64(i)}
}

// A record is one line of the shim's log, or, with 'A', an acknowledged
// import.
type record struct {
	op   byte // W write, T truncate, S sync, U unlink, F failed, A acknowledged
	file byte // d database, w its -wal, j its -journal
	at   uint64
	data []byte // of a write; F has the call's op in at
}

func (r record) bytes() []byte {
	b := binary.NativeEndian.AppendUint64([]byte{r.op, r.file}, r.at)
	return append(binary.NativeEndian.AppendUint64(b, uint64(len(r.data))), r.data...)
}

func readLog(t *testing.T, path string) []record {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out []record
	for len(b) > 0 {
		r := record{op: b[0], file: b[1], at: binary.NativeEndian.Uint64(b[2:])}
		n := binary.NativeEndian.Uint64(b[10:])
		r.data, b = b[18:18+n], b[18+n:]
		out = append(out, r)
	}
	return out
}

// buildShim gives the path of the shim, or skips the test.
func buildShim(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("builds a C library and runs children")
	}
	lib, err := compileShim(t)
	if err != nil {
		t.Skip(err)
	}
	return lib
}

func compileShim(t *testing.T) (path string, err error) {
	gcc, err := exec.LookPath("gcc")
	if err != nil {
		return "", errors.New("need gcc, and the GNU C library, for the shim that loses and fails writes")
	}
	lib := filepath.Join(t.TempDir(), "shim.so")
	if out, err := exec.Command(gcc, "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", lib, "testdata/shim.c", "-ldl").CombinedOutput(); err != nil {
		return "", fmt.Errorf("the shim can't be built here: %w\n%s", err, out)
	}
	return lib, nil
}

// inMemory gives a folder on a disk whose syncs cost nothing, if there is one.
func inMemory(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "freshet-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

// run runs a child under the shim, which is to fail as fail says.
func (c shimmed) run(t *testing.T, shim, fail string) (d did, log []record) {
	t.Helper()
	c.Log = c.Path + ".log"
	os.Remove(c.Log)
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.WaitDelay = time.Second
	child.Env = append(os.Environ(), "FRESHET_SHIMMED="+string(text), "LD_PRELOAD="+shim, "SHIM_DB="+c.Path, "SHIM_LOG="+c.Log)
	if fail != "" {
		child.Env = append(child.Env, "SHIM_FAIL="+fail)
	}
	var errs strings.Builder
	child.Stderr = &errs
	out, err := child.Output()
	if err != nil {
		t.Fatalf("fail %q: %v\n%s", fail, err, errs.String())
	}
	if err := json.NewDecoder(bytes.NewReader(out)).Decode(&d); err != nil {
		t.Fatalf("fail %q: %v in %q", fail, err, out)
	}
	return d, readLog(t, c.Log)
}

// took tells whether import i of the child, from 0, was acknowledged.
func (d did) took(i int) bool { return i >= 0 && 2*i < len(d.Writes) && d.Writes[2*i] == "" }

func (d did) String() string {
	return fmt.Sprintf("opened %q, writes %q, read %q, closed %q", d.Opened, d.Writes, d.Read, d.Closed)
}
