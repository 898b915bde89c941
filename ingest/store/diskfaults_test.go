package store

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
)

var everyFault = flag.Bool("faults", false, "fail every call of an import once and for ever, by a fault and by a full disk")

// said are the words that people get for a disk's faults.
var said = []string{"freshet stopped writing", "the disk is full", "the disk doesn't work as it should", "can't be opened"}

// Whichever write or sync of an import fails, once or from then on, the error
// is said in plain words, the database is as it was before or as it would be
// after, an import that was acknowledged is there, nothing is written after a
// sync or a commit that failed, reading goes on, and the next start is clean.
func TestDiskFaults(t *testing.T) {
	OfAFile(t)
	shim := buildShim(t)
	dir := inMemory(t)
	before := filepath.Join(dir, "before.db")
	s := openAt(t, before)
	child := shimmed{Path: filepath.Join(dir, "shop.db"), From: 1, Batches: 2, Rows: 40}
	if *everyFault {
		child.Rows = 1500 // enough to have the log written back within an import
	}
	if _, err := importJobs(s, child.batch(0)); err != nil {
		t.Fatal(err)
	}
	image := map[string][]byte{} // as after a kill: its log is yet to be read
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(before + end)
		if err != nil || len(b) == 0 {
			t.Fatal(len(b), err)
		}
		image[end] = b
	}
	hits, stops, kept, refused := 0, 0, 0, 0
	for i, errno := range []syscall.Errno{syscall.EIO, syscall.ENOSPC} {
		for ever := range 2 {
			first, step := 1+2*i+ever, 4 // each call fails in one of the four ways
			if *everyFault {
				first, step = 1, 1 // or in all of them
			}
			for n := first; ; n += step {
				for end, b := range image {
					if err := os.WriteFile(child.Path+end, b, 0o600); err != nil {
						t.Fatal(err)
					}
				}
				fail := fmt.Sprint(n, int(errno), ever)
				d, log := child.run(t, shim, fail)
				where := fmt.Sprintf("call %s fails with %q: %v", fail, errno, d)
				f := slices.IndexFunc(log, func(r record) bool { return r.op == 'F' })
				stop := slices.Contains(d.Stopped, true)
				for _, e := range append([]string{d.Opened, d.Closed}, d.Writes...) {
					if e != "" && !slices.ContainsFunc(said, func(s string) bool { return strings.Contains(e, s) }) {
						t.Fatalf("want plain words: %s", where)
					}
				}
				if d.Read != "" {
					t.Fatalf("want reading to go on: %s", where)
				}
				if i := slices.Index(d.Stopped, true); i >= 0 && slices.Contains(d.Stopped[i:], false) {
					t.Fatalf("want nothing written once it has stopped: %s", where)
				}
				if slices.ContainsFunc(d.Writes, func(e string) bool { return e != "" }) && !stop {
					t.Fatalf("want a commit that failed to stop the writer: %s", where) // small writes get to the disk by then only
				}
				acknowledged := child.stand(t, d, where)
				if f < 0 {
					if acknowledged != child.Batches || d.Opened != "" || d.Closed != "" {
						t.Fatalf("want it to come through without a fault: %s", where)
					}
					break
				}
				hits++
				if stop {
					stops++
				}
				if acknowledged == child.Batches {
					kept++
				} else {
					refused++
				}
			}
		}
	}
	if stops == 0 || kept == 0 || refused == 0 {
		t.Errorf("want faults that stop the writer, and some that do no harm: have %d, %d, %d of %d", stops, kept, refused, hits)
	}
	t.Logf("%d faults: %d stopped the writer; all imports went through in spite of %d", hits, stops, kept)
}

// stand opens the child's database without the shim and checks it: each batch
// that was acknowledged is there, others are there whole or not at all, and one
// more import goes through. It gives how many were acknowledged.
func (c shimmed) stand(t *testing.T, d did, where string) (acknowledged int) {
	t.Helper()
	defer func() {
		for _, end := range []string{"", "-wal", "-shm"} {
			os.Remove(c.Path + end)
		}
	}()
	s, err := Open(t.Context(), c.Path)
	if err != nil {
		t.Fatalf("the next start: %v; %s", err, where)
	}
	defer s.Close()
	h, err := s.Check(t.Context())
	if err != nil || len(h.Faults) > 0 {
		t.Fatalf("have %v, %v; %s", h.Faults, err, where)
	}
	batches, err := s.Batches(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[int]bool{}
	for i := range c.From + c.Batches {
		file := c.batch(i)
		there := slices.ContainsFunc(batches, func(b Batch) bool { return b.File == file.name() })
		ok := i < c.From || d.took(i-c.From)
		if ok && !there {
			t.Fatalf("import %d was acknowledged and is lost: %s", i, where)
		}
		if ok && i >= c.From {
			acknowledged++
		}
		for row := range file.n {
			if there {
				rows[file.from+row] = true
			}
		}
	}
	if have := h.Records["job_lines"]; have != len(rows) {
		t.Fatalf("want %d rows of %d imports, have %d: %s", len(rows), len(batches), have, where)
	}
	if _, err := importJobs(s, &jobs{from: 9000, n: 5}); err != nil {
		t.Fatalf("the next import: %v; %s", err, where)
	}
	return acknowledged
}
