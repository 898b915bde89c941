package store

import (
	"bytes"
	"encoding/csv"
	"strings"

	"freshet/ingest"
)

// row is one line of a file, made ready to be written.
type row struct {
	record ingest.Record
	key    string
	args   []any // the record's columns, with room for its key before them
	digest hash
	doubts []error
	bad    *ingest.RowError // why there is no record, or nil
	text   string           // of a bad row
}

const (
	chunk  = 64 // rows handed over at a time
	chunks = 4  // on their way
)

// ahead calls use with every row, in order. Rows are read, and made ready, by a
// goroutine of their own, a few chunks ahead of use: reading a file takes as
// long as writing its rows. When ahead returns, that goroutine has ended; a
// panic of it goes on here. It returns use's error, or else that of rows.
func ahead(rows Rows, t table, use func(*row) error) error {
	full, free, stop := make(chan []row, chunks), make(chan []row, chunks), make(chan struct{})
	for range chunks {
		free <- make([]row, chunk)
	}
	var broken any // what rows panicked with
	go func() {
		defer close(full)
		defer func() { broken = recover() }()
		var text bytes.Buffer
		for {
			select {
			case <-stop:
				return
			case c := <-free:
				n := 0
				for n < chunk && rows.Next() {
					c[n].read(rows, t, &text)
					n++
				}
				full <- c[:n] // there is room: no more chunks than that are about
				if n < chunk {
					return
				}
			}
		}
	}()
	defer func() {
		for range full {
		}
	}()
	defer close(stop)
	for c := range full {
		for i := range c {
			if err := use(&c[i]); err != nil {
				return err
			}
		}
		free <- c[:chunk]
	}
	if broken != nil {
		panic(broken)
	}
	return rows.Err()
}

// read takes the row that rows has in hand.
func (r *row) read(rows Rows, t table, text *bytes.Buffer) {
	text.Reset()
	if r.bad = rows.Reject(); r.bad != nil {
		w := csv.NewWriter(text)
		w.Write(rows.Cells())
		w.Flush()
		r.text = strings.TrimSuffix(text.String(), "\n")
		return
	}
	r.doubts, r.record = rows.Warnings(), rows.Record()
	r.key = r.record.Key()
	r.args = t.values(append(r.args[:0], ""), r.record)
	encode(text, r.args[1:])
	r.digest = digestOf(text.Bytes())
}
