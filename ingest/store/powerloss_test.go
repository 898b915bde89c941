package store

import (
	"bytes"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

var (
	states     = flag.Int("states", 40, "disks to rebuild after a loss of power")
	firstState = flag.Uint64("firststate", 0, "seed of the first of them")
)

// sector is what a disk writes whole.
const sector = 512

// A lossy is one file as the system holds it in memory, and as the disk may
// hold it.
type lossy struct {
	memory, disk []byte
	dirty        map[int]bool // sectors written since the last sync
}

// do applies a record; r decides which sectors get to the disk unasked.
func (f *lossy) do(c record, r *rand.Rand) {
	switch c.op {
	case 'W':
		end := int(c.at) + len(c.data)
		f.memory = resize(f.memory, max(len(f.memory), end))
		copy(f.memory[c.at:], c.data)
		for s := int(c.at) / sector; s*sector < end; s++ {
			f.dirty[s] = true
			if r.IntN(2) == 0 {
				f.land(s)
			}
		}
	case 'T':
		f.memory = resize(f.memory, int(c.at))
		if r.IntN(2) == 0 {
			f.disk = resize(f.disk, int(c.at))
		}
	case 'S':
		for s := range f.dirty {
			f.land(s)
		}
		clear(f.dirty)
		f.disk = resize(f.disk, len(f.memory))
	case 'U':
		*f = lossy{dirty: map[int]bool{}}
	}
}

// land puts a sector as it is in memory on the disk.
func (f *lossy) land(s int) {
	from, to := s*sector, min((s+1)*sector, len(f.memory))
	if from < to {
		f.disk = resize(f.disk, max(len(f.disk), to))
		copy(f.disk[from:to], f.memory[from:to])
	}
}

func resize(b []byte, n int) []byte {
	if n <= len(b) {
		return b[:n]
	}
	return append(b, make([]byte, n-len(b))...)
}

// When the power goes at any moment of an import, with what was written since
// a file's last sync on the disk in part, the database opens, is sound, holds
// every import that was acknowledged, at most one more, and none by halves.
//
// Seen red: with synchronous=NORMAL, or OFF, on the writer's connection,
// imports that were acknowledged are gone in the first state.
func TestPowerLoss(t *testing.T) {
	OfAFile(t)
	shim := buildShim(t)
	c := shimmed{Path: filepath.Join(t.TempDir(), "shop.db"), Batches: 8, Rows: 800}
	d, log := c.run(t, shim, "")
	if !d.took(c.Batches-1) || d.Closed != "" {
		t.Fatal(d)
	}
	ops := map[[2]byte]int{}
	for _, r := range log {
		ops[[2]byte{r.op, r.file}]++
	}
	for _, need := range []string{"Ww", "Sw", "Wd", "Sd"} {
		if ops[[2]byte([]byte(need))] == 0 {
			t.Fatalf("the shim saw no %s: have %v", need, ops)
		}
	}
	dir, torn := inMemory(t), 0
	for i := range uint64(*states) {
		seed := *firstState + i
		r := rand.New(rand.NewPCG(seed, 2))
		end, acknowledged := r.IntN(len(log)+1), 0
		files := map[byte]*lossy{}
		for _, c := range log[:end] {
			if c.op == 'A' {
				acknowledged++
				continue
			}
			if files[c.file] == nil {
				files[c.file] = &lossy{dirty: map[int]bool{}}
			}
			files[c.file].do(c, r)
		}
		path := filepath.Join(dir, "shop.db")
		lost := false
		for file, end := range map[byte]string{'d': "", 'w': "-wal", 'j': "-journal"} {
			f := files[file]
			if f == nil {
				continue
			}
			if !bytes.Equal(f.disk, f.memory) {
				lost = true
			}
			if len(f.disk) > 0 {
				if err := os.WriteFile(path+end, f.disk, 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
		if lost {
			torn++
		}
		s, err := Open(t.Context(), path)
		if err != nil {
			t.Fatalf("seed %d, after %d of %d calls: %v", seed, end, len(log), err)
		}
		h, err := s.Check(t.Context())
		if err != nil || len(h.Faults) > 0 {
			t.Fatalf("seed %d, after %d of %d calls: have %v, %v", seed, end, len(log), h.Faults, err)
		}
		if h.Batches < acknowledged || h.Batches > acknowledged+1 {
			t.Fatalf("seed %d, after %d of %d calls: want %d imports or one more, have %d", seed, end, len(log), acknowledged, h.Batches)
		}
		want := 0
		if h.Batches > 0 {
			want = c.Rows / 2 * (h.Batches + 1)
		}
		if have := h.Records["job_lines"]; have != want {
			t.Fatalf("seed %d: want %d rows of %d imports, have %d", seed, want, h.Batches, have)
		}
		s.Close()
		os.Remove(path)
	}
	if torn < *states/2 {
		t.Errorf("want writes lost in most of %d states, have them in %d", *states, torn)
	}
	t.Logf("%d calls, %d states, %d of them with writes lost", len(log), *states, torn)
}
