package store

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"

	"freshet/ingest"
)

// row is one line of a file, made ready to be written.
type row struct {
	record ingest.Record
	key    string
	args   []any // key, the record's columns, and its digest
	digest hash
	sum    any // the digest as an argument
	doubts []error
	bad    *ingest.RowError // why there is no record, or nil
	text   string           // of a bad row
	mends  rejection        // what it was before it was mended
}

const (
	chunk  = 256 // rows handed over at a time
	chunks = 3   // on their way
)

// ahead calls use with every row, in order, some at a time. Rows are read, and
// made ready and shown to see, by a goroutine of their own, a few chunks ahead
// of use: reading a file takes as long as writing its rows. When ahead returns,
// that goroutine has ended; a panic of it goes on here. It returns use's error,
// or else that of rows. why is the column that says why a row was rejected,
// below zero if there is none.
func ahead(rows Rows, t table, why int, see func(*ingest.DropOff), use func([]row) error) error {
	full, free, stop := make(chan []row, chunks), make(chan []row, chunks), make(chan struct{})
	for range chunks {
		free <- make([]row, chunk)
	}
	var broken any // what rows panicked with
	go func() {
		defer close(full)
		defer func() { broken = recover() }()
		var room room
		for {
			select {
			case <-stop:
				return
			case c := <-free:
				n := 0
				for n < chunk && rows.Next() {
					c[n].read(rows, t, why, see, &room)
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
		if err := use(c); err != nil {
			return err
		}
		free <- c[:chunk]
	}
	if broken != nil {
		panic(broken)
	}
	return rows.Err()
}

// read takes the row that rows has in hand.
func (r *row) read(rows Rows, t table, why int, see func(*ingest.DropOff), room *room) {
	if r.bad = rows.Reject(); r.bad != nil {
		room.text.Reset()
		cells := rows.Cells()
		if why >= 0 && why < len(cells) { // it was for the time before
			cells = slices.Delete(cells, why, why+1)
		}
		w := csv.NewWriter(&room.text)
		w.Write(cells)
		w.Flush()
		r.text = noZero(strings.TrimSuffix(room.text.String(), "\n"))
		return
	}
	r.doubts = rows.Warnings()
	r.of(rows.Record(), t, room)
	if d, ok := r.record.(*ingest.DropOff); ok {
		see(d)
	}
	if r.mends = (rejection{}); why >= 0 {
		if cells := rows.Cells(); why < len(cells) {
			r.mends = rejectionOf(cells[why])
		}
	}
}

// room is for making records ready, one after the other.
type room struct {
	text bytes.Buffer
	days days
}

// of makes a record ready.
func (r *row) of(record ingest.Record, t table, room *room) {
	r.record, r.key = record, record.Key()
	r.args = t.values(append(r.args[:0], r.key), record, &room.days)
	for i, v := range r.args {
		if s, ok := v.(string); ok && strings.IndexByte(s, 0) >= 0 { // else it would be copied for nothing
			r.args[i] = noZero(s)
		}
	}
	room.text.Reset()
	encode(&room.text, r.args[1:])
	r.digest = digestOf(room.text.Bytes())
	if r.sum == nil { // a row is used again and again
		r.sum = r.digest[:]
	}
	r.args = append(r.args, r.sum)
}

// noZero writes a text without the character 0, which PostgreSQL has no place
// for, and which says nothing.
func noZero(s string) string {
	return strings.ReplaceAll(s, "\x00", "\ufffd")
}
