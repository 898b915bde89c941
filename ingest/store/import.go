package store

import (
	"context"
	"slices"
	"time"

	"freshet/ingest"
)

// Rows is what a file yields: ingest's Reader.
type Rows interface {
	Next() bool
	Record() ingest.Record
	Warnings() []error
	Reject() *ingest.RowError
	Cells() []string
	Err() error
}

// Batch is the account of one file taken in. Every data row is counted in
// exactly one of Added, Updated, Unchanged and Rejected; Warned counts the
// rows taken with a doubt.
type Batch struct {
	ID        int64
	File      string
	Kind      ingest.RowKind
	SHA256    string
	TakenIn   time.Time
	Headers   []string // the file's own
	Delimiter byte     // between its cells; 0 is a comma
	Mended    bool     // its rows were rejected before; see Import
	ByHand    bool     // a person changed it on the pages; see ByHand
	Rows      int
	Added     int
	Updated   int
	Unchanged int
	Warned    int
	Rejected  int
	NoRecords int                // of the rejected: totals lines and repeated headers; counted by Import alone
	Rejects   []*ingest.RowError // the first MaxShown
	Warnings  []error            // the first MaxShown
	Doubts    []string           // about the file as a whole, or the records with it
	Undone    time.Time          // zero if it stands
}

// ToMend gives those of Rejects in which there is something to mend.
func (b Batch) ToMend() []*ingest.RowError {
	return slices.DeleteFunc(slices.Clone(b.Rejects), (*ingest.RowError).NoRecord)
}

// MaxShown is how many rejects and warnings a Batch carries; the database
// keeps all rejects.
const MaxShown = 100

// Import takes in a file as one transaction: a row that is new is added, one
// that differs from what is known under its key updated, a bad one kept with
// its reason. What an updated record said before goes to the history. If rows
// end with an error, nothing is changed. b gives File, Kind, SHA256, TakenIn,
// Headers, Delimiter and Mended; progress, if not nil, is told the rows done now
// and then.
//
// A file of mended rows lacks the other lines of their repair orders, so that
// a line without a name of its own can't be told by counting lines of its
// kind. Such a row is the line that it was when it was mended before, or the line
// on record that says the same, or else a new one: it never takes the place of
// another.
func (s *Store) Import(ctx context.Context, b Batch, rows Rows, progress func(rows int)) (Batch, error) {
	err := s.attempting(ctx, func(tx *session) error {
		t, err := newTaker(tx, b)
		if err != nil {
			return err
		}
		if err := ahead(rows, t.table, t.why, t.doubts.see, func(rows []row) error {
			if err := ctx.Err(); err != nil {
				return err
			}
			before := t.b.Rows
			if err := t.take(rows); err != nil {
				return err
			}
			if progress != nil && t.b.Rows/5000 > before/5000 {
				progress(t.b.Rows)
			}
			return nil
		}); err != nil {
			return err
		}
		if err := t.close(); err != nil {
			return err
		}
		b = t.b
		return nil
	})
	return b, err
}
