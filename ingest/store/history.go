package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"strings"
	"time"

	"freshet/ingest"
)

// ErrNothingToUndo is Undo's answer when no batch stands.
var ErrNothingToUndo = errors.New("store: nothing to undo: no file that was taken in stands")

// Undo takes back the newest batch that stands, at the time now: records that
// it added go, ones that it updated say again what they said before. The batch
// stays in the list, marked, and so do its rejects. Batches go one by one, from
// the newest. One that was taken in before there was a history can't be undone.
func (s *Store) Undo(ctx context.Context, now time.Time) (Batch, error) {
	var b Batch
	err := s.session(ctx, func(tx *session) error {
		newest, err := tx.prepare("SELECT id, file, kind, added, updated, CASE WHEN content IS NULL THEN 0 ELSE 1 END, by_hand FROM batches WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1")
		if err != nil {
			return err
		}
		hashed := false
		if err := newest.each(func(v []driver.Value) error {
			b = Batch{ID: v[0].(int64), File: v[1].(string), Kind: ingest.RowKind(v[2].(string)), Added: int(v[3].(int64)), Updated: int(v[4].(int64)), Undone: now, ByHand: v[6].(int64) == 1}
			hashed = v[5].(int64) == 1
			return nil
		}); err != nil {
			return err
		}
		if b.ID == 0 {
			return ErrNothingToUndo
		}
		if !hashed {
			return fmt.Errorf("store: %s was taken in by an older freshet, which kept no history: it can't be undone", b.File)
		}
		if err := takeBack(tx, b); err != nil {
			return err
		}
		return tx.exec("UPDATE batches SET undone_at = ? WHERE id = ?", now.UTC().Format(time.RFC3339), b.ID)
	})
	return b, err
}

func takeBack(tx *session, b Batch) error {
	t := tables[b.Kind]
	earlier, err := tx.prepare("SELECT key, earlier, record FROM history WHERE batch = ?")
	if err != nil {
		return err
	}
	put, err := tx.prepare("UPDATE " + t.name + " SET " + strings.Join(t.columns, " = ?, ") + " = ?, digest = ?, batch = ? WHERE key = ? AND batch = ?")
	if err != nil {
		return err
	}
	again, err := tx.prepare("INSERT INTO " + t.name + "(" + t.list() + ", digest, batch, key) VALUES(?" + strings.Repeat(", ?", len(t.columns)+2) + ") ON CONFLICT(key) DO NOTHING")
	if err != nil {
		return err
	}
	if err := earlier.each(func(v []driver.Value) error {
		record := v[2].([]byte)
		values, err := t.decode(record)
		if err != nil {
			return err
		}
		digest := digestOf(record)
		n, err := put.exec(append(values, digest[:], v[1], v[0], b.ID)...)
		if err == nil && n == 0 && b.ByHand { // it was taken out
			n, err = again.exec(append(values, digest[:], v[1], v[0])...)
		}
		if err == nil && n != 1 {
			err = fmt.Errorf("store: need the record %q as %s left it, have another: 'freshet check' says more", v[0], b.File)
		}
		return err
	}, b.ID); err != nil {
		return err
	}
	if err := tx.exec("DELETE FROM "+t.name+" WHERE batch = ?", b.ID); err != nil || b.Kind != ingest.DropOffs {
		return err
	}
	return totalAll(tx)
}
