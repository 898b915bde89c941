// Package ingest reads any shop's CSV export into typed records, one row at a
// time, and gives every row that it can't read a reason and a line number.
//
// It is opinionated. It never guesses behind the user's back: headers are
// taken by name or known synonym, anything nearer than that is a [Guess] to be
// confirmed; a date that may be read two ways is asked about
// ([AmbiguousDates]), never assumed. It refuses rows rather than repair them,
// keeps no row but the one in hand, so that a gigabyte costs no more memory
// than a page, and knows nothing of databases or of what the records are for.
//
// To use it: [Open] a file, [Detect] or [Propose] a [Layout] from its headers,
// settle the layout's guesses with [Layout.With], and Read the sheet:
//
//	sheet, err := ingest.Open("jobs.csv", f)
//	layout := ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs)
//	r, err := sheet.Read(layout, tomorrow)
//	for r.Next() {
//		if reject := r.Reject(); reject != nil {
//			keep(reject, r.Cells())
//			continue
//		}
//		add(r.Record(), r.Warnings())
//	}
//	err = r.Err()
//
// The CSV dialect is read by this package rather than by encoding/csv, which
// sets no limits, takes a bare CR for text, and can't go on after a quote that
// is never closed.
package ingest

import (
	"fmt"
	"slices"
	"strings"
)

// A RowKind says what the rows of a file are.
type RowKind string

// The kinds of rows, named as on the command line.
const (
	DropOffs RowKind = "drop-offs" // a job line each
	Crew     RowKind = "crew"      // a person each
	TimeOff  RowKind = "time-off"  // an absence or a closed day each
	Events   RowKind = "events"    // an event each
)

// RowKinds lists all kinds of rows.
func RowKinds() []RowKind { return []RowKind{DropOffs, Crew, TimeOff, Events} }

// ParseRowKind finds a kind of rows by its name.
func ParseRowKind(s string) (RowKind, error) {
	if k := RowKind(s); slices.Contains(RowKinds(), k) {
		return k, nil
	}
	return "", fmt.Errorf("ingest: need a kind of rows among %s, have %q", list(RowKinds()), s)
}

// An Opt is a value that a row may leave out. Its fields are those of
// database/sql's Null, so that one converts to the other.
type Opt[T any] struct {
	V     T
	Valid bool
}

// list writes names for an error message.
func list[S ~string](names []S) string {
	words := make([]string, len(names))
	for i, n := range names {
		words[i] = string(n)
	}
	return strings.Join(words, ", ")
}
