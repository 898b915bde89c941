package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"io"
	"os"
	"slices"
	"sync"
	"time"

	"freshet/ingest"
	"freshet/ingest/store"
)

// arrival is a file on its way in: it waits for a word on its columns, is being
// taken in, or has been.
type arrival struct {
	ID    string
	Name  string
	At    time.Time
	Means meant

	Taking  bool
	Alive   time.Time // when the process that takes it in last told of it
	Rows    int64     // so far
	Stop    bool      // it is to be taken in no further
	Ended   bool
	Account *account // nil where it failed
	Failure string
}

// meant is how a person said that a file is meant.
type meant struct {
	As      ingest.RowKind
	Sheet   string
	Columns []ingest.Column
	Dates   ingest.DateOrder
}

// account is what the page says of a file that is in.
type account struct {
	ID                                                           int64
	Rows, Added, Updated, Unchanged, Warned, Rejected, NoRecords int
	Doubts, Warnings                                             []string
	ToMend                                                       []*ingest.RowError
}

func accountOf(t store.Taken) *account {
	a := &account{ID: t.ID, Rows: t.Rows, Added: t.Added, Updated: t.Updated, Unchanged: t.Unchanged, Warned: t.Warned, Rejected: t.Rejected, NoRecords: t.NoRecords,
		Doubts: t.Doubts, ToMend: t.ToMend()}
	for _, w := range t.Warnings {
		a.Warnings = append(a.Warnings, w.Error())
	}
	return a
}

// lost is after how long without a sign of life a file is taken for one that
// nobody takes in any more: its process ended.
const lost = time.Minute

// taking tells whether a process is taking the file in.
func (a arrival) taking(now time.Time) bool {
	return a.Taking && !a.Ended && now.Sub(a.Alive) < lost
}

// content is a file's, to be closed.
type content interface {
	io.ReaderAt
	io.Closer
}

// arrivals keeps a shop's files on their way in. What isn't there any more is a
// problem of status 404.
type arrivals interface {
	most() int64                                                                      // bytes of a file
	add(ctx context.Context, a arrival, from io.Reader) (ok bool, err error)          // false where too many wait
	get(ctx context.Context, id string) (arrival, error)                              //
	open(ctx context.Context, id string) (content, int64, error)                      // with its bytes
	change(ctx context.Context, id string, how func(*arrival) error) (arrival, error) // by one at a time; its content goes when it has ended
	remove(ctx context.Context, id string) error                                      //
	close()                                                                           // lets go of what only this process could go on with
}

// mostArrivals is how many files may wait for a word, or be under way.
const mostArrivals = 8

// arrivedFor is how long one waits that nobody comes back to.
const arrivedFor = time.Hour

var noArrival = problem{404, "This file isn't here any more. Choose it once again."}

func newID() string {
	var id [16]byte
	rand.Read(id[:])
	return hex.EncodeToString(id[:])
}

// inFolder keeps them in the system's folder for files that don't last, and what
// is known of them in this process: for a shop alone.
type inFolder struct {
	mu   sync.Mutex
	here map[string]*inFile
}

type inFile struct {
	arrival
	path string // empty once it has ended
	size int64
}

func (f *inFile) drop() {
	if f.path != "" {
		os.Remove(f.path)
	}
	f.path = ""
}

func (*inFolder) most() int64 { return mostBytes }

// add makes room first: files that nobody came back to go, of those that are in
// already, whose pages still say so, the oldest, and then of those only looked at.
func (f *inFolder) add(_ context.Context, a arrival, from io.Reader) (bool, error) {
	to, err := os.CreateTemp("", "freshet-file-")
	if err != nil {
		return false, err
	}
	defer to.Close()
	one := &inFile{arrival: a, path: to.Name()}
	if one.size, err = io.Copy(to, from); err != nil {
		one.drop()
		return false, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	var idle []*inFile
	for id, old := range f.here {
		switch {
		case a.At.Sub(old.At) > arrivedFor && !old.taking(a.At):
			old.drop()
			delete(f.here, id)
		case !old.taking(a.At):
			idle = append(idle, old)
		}
	}
	slices.SortFunc(idle, func(a, b *inFile) int {
		switch {
		case a.Ended == b.Ended:
			return a.At.Compare(b.At)
		case a.Ended:
			return -1
		}
		return 1
	})
	for ; len(f.here) >= mostArrivals && len(idle) > 0; idle = idle[1:] {
		idle[0].drop()
		delete(f.here, idle[0].ID)
	}
	if len(f.here) >= mostArrivals {
		one.drop()
		return false, nil
	}
	f.here[a.ID] = one
	return true, nil
}

func (f *inFolder) find(id string) (*inFile, error) {
	if one := f.here[id]; one != nil {
		return one, nil
	}
	return nil, noArrival
}

func (f *inFolder) get(_ context.Context, id string) (arrival, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	one, err := f.find(id)
	if err != nil {
		return arrival{}, err
	}
	return one.arrival, nil
}

func (f *inFolder) open(_ context.Context, id string) (content, int64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	one, err := f.find(id)
	if err != nil {
		return nil, 0, err
	}
	file, err := os.Open(one.path)
	return file, one.size, err
}

func (f *inFolder) change(_ context.Context, id string, how func(*arrival) error) (arrival, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	one, err := f.find(id)
	if err != nil {
		return arrival{}, err
	}
	if err := how(&one.arrival); err != nil {
		return one.arrival, err
	}
	if one.Ended {
		one.drop()
	}
	return one.arrival, nil
}

func (f *inFolder) remove(_ context.Context, id string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	one, err := f.find(id)
	if err != nil {
		return err
	}
	one.drop()
	delete(f.here, id)
	return nil
}

func (f *inFolder) close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, one := range f.here {
		one.drop()
	}
}
