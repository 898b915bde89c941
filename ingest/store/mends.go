package store

import (
	"bytes"
	"database/sql/driver"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"freshet/ingest"
)

// A rejection names a rejected row: by its batch and its line in the file.
type rejection struct{ batch, line int64 }

// why writes a reject's reason and name into the last column of a file to be
// mended.
func (r rejection) why(bad *ingest.RowError) string {
	return fmt.Sprintf("%v (row %d of import %d)", bad, r.line, r.batch)
}

var named = regexp.MustCompile(`\(row (\d{1,18}) of import (\d{1,18})\)$`)

// rejectionOf finds a row's name in its last cell: the zero if somebody edited
// it.
func rejectionOf(why string) (r rejection) {
	if n := named.FindStringSubmatch(strings.TrimSpace(why)); n != nil {
		r.line, _ = strconv.ParseInt(n[1], 10, 64) // digits, few enough
		r.batch, _ = strconv.ParseInt(n[2], 10, 64)
	}
	return r
}

// mends knows what became of rejected rows.
type mends struct{ find, keep *statement }

func newMends(tx *session) (m mends, err error) {
	if m.find, err = tx.prepare("SELECT mends.key, mends.by FROM rejects LEFT JOIN mends USING (batch, line) WHERE rejects.batch = ? AND rejects.line = ? ORDER BY mends.by DESC"); err != nil {
		return m, err
	}
	m.keep, err = tx.prepare("INSERT INTO mends(batch, line, by, key) VALUES(?, ?, ?, ?) ON CONFLICT(batch, line, by) DO UPDATE SET key = excluded.key")
	return m, err
}

// mendedBefore gives the key under which the row was taken in when it was
// mended before, if it says the same repair order and kind now and what stands
// there is what that brought; known is false of a row that never was rejected.
func (t *taker) mendedBefore(d *ingest.DropOff, of rejection) (key string, known bool, err error) {
	d.Nth = 1
	group := strings.TrimSuffix(d.Key(), "1")
	type mend struct {
		key string
		by  int64
	}
	var before []mend
	if err := t.mends.find.each(func(v []driver.Value) error {
		known = true
		if key, ok := v[0].(string); ok {
			before = append(before, mend{key, v[1].(int64)})
		}
		return nil
	}, of.batch, of.line); err != nil {
		return "", false, err
	}
	for _, m := range before {
		found, err := t.look(m.key)
		if err != nil {
			return "", false, err
		}
		if !found || t.known.batch != m.by || t.claimed[m.key] {
			continue
		}
		if strings.HasPrefix(m.key, group) {
			return m.key, true, nil
		}
		t.b.Doubts = append(t.b.Doubts, fmt.Sprintf("row %d of import %d was mended before under another repair order or kind: both are on record, and 'freshet undo' takes the newer one back", of.line, of.batch))
		break
	}
	return "", known, nil
}

// place finds the key of a mended row: that under which it was taken in when it
// was mended before, that of the first line of its repair order and kind that
// says the same and isn't taken, or else the first free.
func (t *taker) place(d *ingest.DropOff, of rejection) (key string, err error) {
	key, known, err := t.mendedBefore(d, of)
	if err != nil {
		return "", err
	}
	if key == "" {
		if key, err = t.free(d); err != nil {
			return "", err
		}
	}
	t.claimed[key] = true
	if known {
		_, err = t.mends.keep.exec(of.batch, of.line, t.b.ID, key)
	}
	return key, err
}

func (t *taker) free(d *ingest.DropOff) (key string, err error) {
	for d.Nth = 1; ; d.Nth++ {
		key = d.Key()
		if t.claimed[key] {
			continue
		}
		found, err := t.look(key)
		if err != nil {
			return "", err
		}
		if !found || bytes.Equal(t.known.digest, t.digest[:]) {
			return key, nil
		}
	}
}
