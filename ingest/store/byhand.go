package store

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"freshet/forecast"
	"freshet/ingest"
)

// A Version names what a record says: the digest of it, in hex. The empty one
// is that of no record.
type Version string

// ErrOther is ByHand's answer where the record isn't what its reader saw.
var ErrOther = errors.New("store: the record was changed meanwhile: look at it again")

// ErrThere is ByHand's answer where a record's new place is taken.
var ErrThere = errors.New("store: there is a record of that name and first day already")

// ByHand puts a record on record under a key by a person's word, or takes what
// stands there out if the record is nil, as a batch of its own, which Undo takes
// back like a file. name says in the list of batches what it was. seen, if not
// nil, is the version that the person saw; it is ErrOther if another stands
// there by now.
//
// A person whose first day is changed goes on under the key that files have for
// it from then on; it is ErrThere if a spell stands under that one already.
//
// A file that later says what the record said before changes nothing; one that
// says something new wins.
func (s *Store) ByHand(ctx context.Context, name string, kind ingest.RowKind, key string, seen *Version, record ingest.Record, now time.Time) (Batch, error) {
	b := Batch{File: name, Kind: kind, TakenIn: now, ByHand: true}
	err := s.session(ctx, func(tx *session) error {
		t, err := newTaker(tx, b)
		if err != nil {
			return err
		}
		to := key
		if p, ok := record.(*ingest.Person); ok {
			to = p.Key()
		}
		if to != key {
			if there, err := t.look(to); err != nil || there {
				return cmp.Or(err, ErrThere)
			}
		}
		found, err := t.look(key)
		if err != nil {
			return err
		}
		have := Version("")
		if found {
			have = Version(hex.EncodeToString(t.known.digest))
		}
		if seen != nil && *seen != have || record == nil && !found {
			return ErrOther
		}
		if found && (record == nil || to != key) {
			if err := t.takeOut(key); err != nil {
				return err
			}
		}
		if record != nil {
			var r row
			r.of(record, t.table, &t.room)
			t.hold(&r)
			if err := t.put(to); err != nil {
				return err
			}
		}
		t.b.Rows = t.b.Added + t.b.Updated + t.b.Unchanged
		if err := t.close(); err != nil {
			return err
		}
		b = t.b
		return nil
	})
	return b, err
}

// takeOut takes a record out. What it said stays in the history.
func (t *taker) takeOut(key string) error {
	if err := t.remember(key); err != nil {
		return err
	}
	t.b.Updated++
	return t.tx.exec("DELETE FROM "+t.table.name+" WHERE key = ?", key)
}

// byHand are the versions that persons replaced or took out, by key and by the
// batch that did.
type byHand map[string]map[int64]replaced

type replaced struct {
	earlier int64 // the batch that it had come with
	digest  hash
}

func readByHand(tx *session, kind ingest.RowKind) (byHand, error) {
	all, err := tx.prepare("SELECT batches.id, key, earlier, record FROM batches JOIN history ON history.batch = batches.id WHERE by_hand = 1 AND undone_at IS NULL AND kind = ?")
	if err != nil {
		return nil, err
	}
	h := byHand{}
	return h, all.each(func(v []driver.Value) error {
		key := v[1].(string)
		if h[key] == nil {
			h[key] = map[int64]replaced{}
		}
		h[key][v[0].(int64)] = replaced{v[2].(int64), digestOf(v[3].([]byte))}
		return nil
	}, string(kind))
}

// knew tells whether a person had that version before them when they changed
// what now stands with a batch, or took it out (batch 0).
func (h byHand) knew(key string, batch int64, digest hash) bool {
	of, ok := h[key]
	if !ok {
		return false
	}
	if batch == 0 {
		for id := range of {
			batch = max(batch, id)
		}
	}
	for {
		r, ok := of[batch]
		if !ok || r.digest == digest {
			return ok
		}
		batch = r.earlier
	}
}

// A JobLine is a job line as it stands, to be looked at and changed.
type JobLine struct {
	ingest.DropOff
	Key     string
	Version Version
	Before  *ingest.DropOff // what it said before a person changed it last; nil if a file has the last word
}

// JobLine gives the job line under a key, and false if there is none.
func (s *Store) JobLine(ctx context.Context, key string) (l JobLine, ok bool, err error) {
	x, ok, err := s.standing(ctx, ingest.DropOffs, key)
	if err != nil || !ok {
		return l, ok, err
	}
	l.Key, l.Version = key, x.version
	if l.DropOff, err = dropOff(x.values); err != nil || x.before == nil {
		return l, true, err
	}
	d, err := dropOff(x.before)
	l.Before = &d
	return l, true, err
}

// standing is a record as it stands: its columns, and what they were before a
// person changed them last, nil if a file has the last word.
type standing struct {
	version        Version
	values, before []any
}

func (s *Store) standing(ctx context.Context, kind ingest.RowKind, key string) (x standing, ok bool, err error) {
	var digest []byte
	var batch int64
	t := tables[kind]
	x.values = make([]any, len(t.columns))
	err = s.r.QueryRowContext(ctx, "SELECT digest, batch, "+t.list()+" FROM "+t.name+" WHERE key = ?", key).Scan(append([]any{&digest, &batch}, into(x.values)...)...)
	if errors.Is(err, sql.ErrNoRows) {
		return x, false, nil
	}
	if err != nil {
		return x, false, wrap(err)
	}
	x.version = Version(hex.EncodeToString(digest))
	var before []byte
	err = s.r.QueryRowContext(ctx, "SELECT record FROM history JOIN batches ON batches.id = history.batch WHERE history.batch = ? AND key = ? AND by_hand = 1", batch, key).Scan(&before)
	if errors.Is(err, sql.ErrNoRows) {
		return x, true, nil
	}
	if err != nil {
		return x, true, wrap(err)
	}
	x.before, err = t.decode(before)
	return x, true, err
}

// into gives where values are to be scanned to.
func into(values []any) []any {
	out := make([]any, len(values))
	for i := range out {
		out[i] = &values[i]
	}
	return out
}

// dropOff reads a job line's columns, in the table's order, back into what
// tables made them of; a text in place of a day, and columns of other types, are
// an error.
func dropOff(v []any) (d ingest.DropOff, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("store: a damaged job line: %.200v", v)
		}
	}()
	flag := func(x any) ingest.Opt[bool] { return ingest.Opt[bool]{V: x.(int64) != 0, Valid: true} }
	date := func(x any) ingest.Opt[forecast.Date] {
		o, e := day(x)
		err = errors.Join(err, e)
		return o
	}
	d = ingest.DropOff{RO: v[0].(string), DroppedOff: date(v[1]).V, Kind: v[2].(string), Unit: v[3].(string),
		QuotedHours: number(v[4]), ClockedHours: number(v[5]), BilledHours: number(v[6]), PartsWaitDays: number(v[7]),
		Emergency: flag(v[8]), Deferrable: flag(v[9]), ComebackOf: v[10].(string), Promised: date(v[11]), Ready: date(v[12]), PickedUp: date(v[13]),
		Status: v[14].(string), Note: v[15].(string)}
	return d, err
}

func number(x any) ingest.Opt[float64] {
	f, ok := x.(float64)
	return ingest.Opt[float64]{V: f, Valid: ok}
}

func day(x any) (o ingest.Opt[forecast.Date], err error) {
	if text, ok := x.(string); ok {
		o.V, err = forecast.ParseDate(text)
		o.Valid = err == nil
	}
	return o, wrap(err)
}

// TakenOut gives the time off that was taken out by hand and isn't back, the
// newest first.
func (s *Store) TakenOut(ctx context.Context, most int) ([]ingest.Absence, error) {
	var out []ingest.Absence
	err := s.takenOut(ctx, ingest.TimeOff, most, func(_ string, v []any) (err error) {
		a := ingest.Absence{Name: as[string](v[0])}
		for i, d := range []*forecast.Date{&a.From, &a.Until} {
			if *d, err = forecast.ParseDate(as[string](v[i+1])); err != nil {
				return wrap(err)
			}
		}
		out = append(out, a)
		return nil
	})
	return out, err
}

// JobsTakenOut gives the job lines that were taken out by hand and aren't
// back, the newest first, with the keys that they stood under.
func (s *Store) JobsTakenOut(ctx context.Context, most int) ([]JobLine, error) {
	var out []JobLine
	err := s.takenOut(ctx, ingest.DropOffs, most, func(key string, v []any) error {
		d, err := dropOff(v)
		out = append(out, JobLine{DropOff: d, Key: key})
		return err
	})
	return out, err
}

// takenOut hands over what records said that were taken out by hand and aren't
// back.
func (s *Store) takenOut(ctx context.Context, kind ingest.RowKind, most int, each func(key string, values []any) error) error {
	t := tables[kind]
	rows, err := s.r.QueryContext(ctx, `SELECT key, record FROM history JOIN (SELECT key, max(batches.id) AS batch FROM history JOIN batches ON batches.id = history.batch
		WHERE by_hand = 1 AND undone_at IS NULL AND kind = ? AND key NOT IN (SELECT key FROM `+t.name+`) GROUP BY key) AS newest USING (batch, key) ORDER BY batch DESC LIMIT ?`, string(kind), most)
	if err != nil {
		return wrap(err)
	}
	defer rows.Close()
	for rows.Next() {
		var key string
		var record []byte
		if err := rows.Scan(&key, &record); err != nil {
			return wrap(err)
		}
		v, err := t.decode(record)
		if err == nil {
			err = each(key, v)
		}
		if err != nil {
			return err
		}
	}
	return wrap(rows.Err())
}
