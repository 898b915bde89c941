package store

import (
	"bytes"
	"cmp"
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"freshet/forecast"
	"freshet/ingest"
)

// taker is one import in progress.
type taker struct {
	b       Batch
	tx      *session
	table   table
	find    *statement
	read    *statement
	insert  *statement
	several *statement // inserts together rows
	fresh   []*row     // on their way to it
	update  *statement
	keep    *statement
	reject  *statement
	digest  hash
	content hash
	room    room
	args    []any
	known   known
	usual   bool            // the last row was on record before
	claimed map[string]bool // keys that mended rows have found
	why     int             // column of a mended row's name, or below zero
	mends   mends
	byHand  byHand // that files don't take back
	doubts  doubts
	line    *ingest.DropOff // the row in hand, nil of other records
	weeks   weeks           // whose totals change
}

// known is what is on record under a key.
type known struct {
	digest []byte
	batch  int64
	row    int64         // of job lines
	day    forecast.Date // of job lines' drop-off, once read
}

func newTaker(tx *session, b Batch) (*taker, error) {
	t := &taker{b: b, tx: tx, claimed: map[string]bool{}, why: -1}
	var ok bool
	if t.table, ok = tables[b.Kind]; !ok {
		return nil, fmt.Errorf("store: need a known kind of rows, have %q", b.Kind)
	}
	headers, err := json.Marshal(append([]string{}, b.Headers...))
	if err != nil {
		return nil, wrap(err)
	}
	if err := tx.exec(`INSERT INTO batches(file, kind, sha256, taken_in, headers, delimiter, by_hand, row_count, added, updated, unchanged, warned, rejected)
		VALUES(?, ?, ?, ?, ?, ?, ?, 0, 0, 0, 0, 0, 0)`, b.File, string(b.Kind), b.SHA256, b.TakenIn.UTC().Format(time.RFC3339), string(headers), string(rune(cmp.Or(b.Delimiter, ','))),
		bit(b.ByHand)); err != nil {
		return nil, err
	}
	newest, err := tx.prepare("SELECT max(id) FROM batches")
	if err != nil {
		return nil, err
	}
	if err := newest.each(func(v []driver.Value) error { t.b.ID = v[0].(int64); return nil }); err != nil {
		return nil, err
	}
	if b.Mended {
		t.why = len(b.Headers)
		if t.mends, err = newMends(tx); err != nil {
			return nil, err
		}
	}
	if !b.ByHand {
		if t.byHand, err = readByHand(tx, b.Kind); err != nil {
			return nil, err
		}
	}
	columns := append(append([]string{"key"}, t.table.columns...), "digest")
	batch, row := strconv.FormatInt(t.b.ID, 10), "0"
	if b.Kind == ingest.DropOffs {
		row = "rowid"
	}
	into := "INSERT INTO " + t.table.name + "(" + strings.Join(columns, ", ") + ", batch) VALUES"
	values := "(" + strings.Repeat("?, ", len(columns)) + batch + ")"
	for query, st := range map[string]**statement{
		"SELECT digest, batch, " + row + " FROM " + t.table.name + " WHERE key = ?":                                            &t.find,
		"SELECT " + t.table.list() + " FROM " + t.table.name + " WHERE key = ?":                                                &t.read,
		"UPDATE " + t.table.name + " SET " + strings.Join(columns[1:], " = ?, ") + " = ?, batch = " + batch + " WHERE key = ?": &t.update,
		"INSERT INTO history(batch, key, earlier, record) VALUES(?, ?, ?, ?)":                                                  &t.keep,
		"INSERT INTO rejects(batch, line, column_, value, reason, row_) VALUES(?, ?, ?, ?, ?, ?)":                              &t.reject,
		into + values + " ON CONFLICT(key) DO NOTHING":                                                                         &t.insert,
		into + strings.Repeat(values+", ", together-1) + values:                                                                &t.several,
	} {
		if *st, err = tx.prepare(query); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// together is how many rows that seem to be new are written by one statement.
const together = 32

func (t *taker) take(rows []row) error {
	for i := range rows {
		if t.b.Rows++; t.b.Rows == 1 {
			reached("insert")
		}
		r := &rows[i]
		if r.bad != nil {
			if err := t.refuse(r.bad, r.text); err != nil {
				return err
			}
			continue
		}
		if len(r.doubts) > 0 {
			t.b.Warned++
			t.b.Warnings = append(t.b.Warnings, r.doubts[:min(len(r.doubts), MaxShown-len(t.b.Warnings))]...)
		}
		if t.fresh = append(t.fresh, r); t.usual || t.b.Mended || t.byHand[r.key] != nil {
			if err := t.singly(); err != nil {
				return err
			}
		} else if len(t.fresh) == together {
			if err := t.jointly(); err != nil {
				return err
			}
		}
	}
	return t.singly()
}

// jointly brings the fresh rows on record by one statement if all of their keys
// are new, as they are in most files, or else singly.
func (t *taker) jointly() error {
	t.several.args = t.several.args[:0]
	for _, r := range t.fresh {
		t.several.add(r.args)
	}
	known, err := t.tx.attempt(func() error { return t.several.run(nil) })
	if err != nil {
		return err
	}
	if known {
		return t.singly()
	}
	for _, r := range t.fresh {
		t.hold(r)
		if err := t.added(r.key); err != nil {
			return err
		}
	}
	t.fresh = t.fresh[:0]
	return nil
}

// singly brings the fresh rows on record one by one.
func (t *taker) singly() error {
	for _, r := range t.fresh {
		t.hold(r)
		key := r.key
		if d, ok := r.record.(*ingest.DropOff); ok && t.b.Mended && d.Line == "" {
			var err error
			if key, err = t.place(d, r.mends); err != nil {
				return err
			}
		}
		if err := t.put(key); err != nil {
			return err
		}
	}
	t.fresh = t.fresh[:0]
	return nil
}

// hold takes a row's record in hand.
func (t *taker) hold(r *row) {
	t.args, t.digest = r.args, r.digest
	t.line, _ = r.record.(*ingest.DropOff)
}

// refuse keeps a row that can't be taken.
func (t *taker) refuse(bad *ingest.RowError, text string) error {
	t.b.Rejected++
	if bad.NoRecord() {
		t.b.NoRecords++
	}
	if len(t.b.Rejects) < MaxShown {
		t.b.Rejects = append(t.b.Rejects, bad)
	}
	column, value, reason := noZero(bad.Column), noZero(bad.Value), noZero(bad.Reason)
	t.content.with(rejectHash(int64(bad.Line), column, value, reason, text))
	_, err := t.reject.exec(t.b.ID, int64(bad.Line), column, value, reason, text)
	return err
}

func rejectHash(line int64, column, value, reason, row string) hash {
	var text bytes.Buffer
	encode(&text, []any{line, column, value, reason, row})
	return digestOf(text.Bytes())
}

// look finds what is on record under a key.
func (t *taker) look(key string) (found bool, err error) {
	err = t.find.each(func(v []driver.Value) error {
		found = true
		t.known.digest = append(t.known.digest[:0], v[0].([]byte)...)
		t.known.batch, t.known.row = v[1].(int64), v[2].(int64)
		return nil
	}, key)
	return found, err
}

// put brings the record in hand on record. Most files hold mostly new rows or
// mostly known ones, so what the last row was is tried first.
func (t *taker) put(key string) error {
	t.args[0] = key
	if !t.usual && t.byHand[key] == nil {
		if added, err := t.add(key); added || err != nil {
			return err
		}
	}
	found, err := t.look(key)
	if err != nil {
		return err
	}
	if t.usual = found; !found {
		if t.byHand.knew(key, 0, t.digest) { // taken out since
			t.b.Unchanged++
			return nil
		}
		if _, err := t.add(key); err != nil {
			return err
		}
		return nil
	}
	if bytes.Equal(t.known.digest, t.digest[:]) || t.byHand.knew(key, t.known.batch, t.digest) {
		t.b.Unchanged++
		if t.known.batch != t.b.ID {
			t.doubts.still(t.known.row)
		}
		return nil
	}
	t.b.Updated++
	if t.known.batch == t.b.ID { // the file has the key twice
		err = t.readEarlier(key)
		t.content.with(versionHash(key, t.known.digest))
	} else if err = t.remember(key); err == nil && t.line != nil {
		t.doubts.moved(t.line.RO, t.known.day, t.line.DroppedOff)
	}
	if err != nil {
		return err
	}
	t.content.with(versionHash(key, t.digest[:]))
	if t.line != nil {
		t.weeks.touch(t.line.DroppedOff)
	}
	_, err = t.update.exec(append(t.args[1:], key)...)
	return err
}

func (t *taker) add(key string) (added bool, err error) {
	n, err := t.insert.exec(t.args...)
	if n == 1 && err == nil {
		err = t.added(key)
	}
	return n == 1, err
}

// added takes in that the row in hand is new on record.
func (t *taker) added(key string) error {
	t.b.Added++
	t.content.with(versionHash(key, t.digest[:]))
	if t.line != nil && t.weeks.add(t.line.DroppedOff, t.line.Kind) {
		return t.weeks.write(t.tx)
	}
	return nil
}

// remember keeps what is on record under key, before it is changed.
func (t *taker) remember(key string) error {
	if err := t.readEarlier(key); err != nil {
		return err
	}
	_, err := t.keep.exec(t.b.ID, key, t.known.batch, t.room.text.Bytes())
	return err
}

// readEarlier reads what is on record under key into the room.
func (t *taker) readEarlier(key string) error {
	t.room.text.Reset()
	return t.read.each(func(v []driver.Value) error {
		values := make([]any, len(v))
		for i := range v {
			values[i] = v[i]
		}
		if t.b.Kind == ingest.DropOffs {
			var err error
			if t.known.day, err = forecast.ParseDate(values[1].(string)); err != nil {
				return err
			}
			t.weeks.touch(t.known.day)
		}
		encode(&t.room.text, values)
		return nil
	}, key)
}

func (t *taker) close() error {
	if t.b.Kind == ingest.DropOffs {
		if err := t.weeks.total(t.tx); err != nil {
			return err
		}
		if err := t.doubts.weigh(t); err != nil {
			return err
		}
	}
	return t.tx.exec("UPDATE batches SET row_count = ?, added = ?, updated = ?, unchanged = ?, warned = ?, rejected = ?, content = ? WHERE id = ?",
		int64(t.b.Rows), int64(t.b.Added), int64(t.b.Updated), int64(t.b.Unchanged), int64(t.b.Warned), int64(t.b.Rejected), t.content[:], t.b.ID)
}
