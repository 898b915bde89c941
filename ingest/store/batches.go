package store

import (
	"context"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"time"

	"freshet/ingest"

	"github.com/jmoiron/sqlx"
)

// Hash gives the form in which a file's SHA-256 is kept.
func Hash(sum []byte) string { return hex.EncodeToString(sum) }

// Batches gives the last files taken in, newest first, undone ones too.
func (s *Store) Batches(ctx context.Context, most int) ([]Batch, error) {
	var rows []struct {
		ID                                          int64
		File, Kind, SHA256, Headers, Delimiter      string
		TakenIn                                     string           `db:"taken_in"`
		ByHand                                      bool             `db:"by_hand"`
		UndoneAt                                    sql.Null[string] `db:"undone_at"`
		Rows                                        int              `db:"row_count"`
		Added, Updated, Unchanged, Warned, Rejected int
	}
	err := s.r.SelectContext(ctx, &rows, `SELECT id, file, kind, sha256, headers, delimiter, taken_in, by_hand, undone_at, row_count, added, updated, unchanged, warned, rejected
		FROM batches ORDER BY id DESC LIMIT ?`, most)
	if err != nil {
		return nil, wrap(err)
	}
	out := make([]Batch, len(rows))
	for i, r := range rows {
		out[i] = Batch{ID: r.ID, File: r.File, Kind: ingest.RowKind(r.Kind), SHA256: r.SHA256, Delimiter: r.Delimiter[0], ByHand: r.ByHand,
			Rows: r.Rows, Added: r.Added, Updated: r.Updated, Unchanged: r.Unchanged, Warned: r.Warned, Rejected: r.Rejected}
		b := &out[i]
		if err := json.Unmarshal([]byte(r.Headers), &b.Headers); err != nil {
			return nil, wrap(err)
		}
		if b.TakenIn, err = time.Parse(time.RFC3339, r.TakenIn); err != nil {
			return nil, wrap(err)
		}
		if r.UndoneAt.Valid {
			if b.Undone, err = time.Parse(time.RFC3339, r.UndoneAt.V); err != nil {
				return nil, wrap(err)
			}
		}
	}
	return out, nil
}

// Changed gives the time of the last import, undoing, change of kinds or note
// on an alert, zero if nothing was imported.
func (s *Store) Changed(ctx context.Context) (time.Time, error) {
	var last sql.Null[string]
	if err := s.r.GetContext(ctx, &last, `SELECT max(at) FROM (SELECT taken_in AS at FROM batches UNION ALL SELECT undone_at FROM batches
		UNION ALL SELECT made_at FROM kind_steps UNION ALL SELECT made_at FROM kind_undos
		UNION ALL SELECT made_at FROM notes UNION ALL SELECT made_at FROM note_undos) AS changes`); err != nil || !last.Valid {
		return time.Time{}, wrap(err)
	}
	t, err := time.Parse(time.RFC3339, last.V)
	return t, wrap(err)
}

// Rejected is a row that could not be taken, with the file it stood in.
type Rejected struct {
	Batch         int64
	File          string
	Line          int
	Column        string `db:"column_"`
	Value, Reason string
}

// Rejects gives the last rejected rows that are still to be mended, those of the
// newest file first. A row is not if it was mended since, if its file was taken
// back out or came in again under the same name with as many rows or more, and
// if it holds no record.
func (s *Store) Rejects(ctx context.Context, most int) ([]Rejected, error) {
	var out []Rejected
	err := s.r.SelectContext(ctx, &out, `SELECT batch, file, line, column_, value, reason FROM rejects JOIN batches ON batches.id = rejects.batch
		WHERE undone_at IS NULL AND reason NOT IN (?, ?)
		AND NOT EXISTS (SELECT 1 FROM mends JOIN batches AS mending ON mending.id = mends.by
			WHERE mends.batch = rejects.batch AND mends.line = rejects.line AND mending.undone_at IS NULL)
		AND NOT EXISTS (SELECT 1 FROM batches AS later WHERE later.id > batches.id AND later.undone_at IS NULL
			AND later.file = batches.file AND later.row_count >= batches.row_count)
		ORDER BY batch DESC, line LIMIT ?`, ingest.ReasonTotals, ingest.ReasonAgain, most)
	return out, wrap(err)
}

// Layout gives the layout that was confirmed for a file with these headers,
// and false if none was.
func (s *Store) Layout(ctx context.Context, signature string, into *ingest.Layout) (bool, error) {
	var text string
	err := s.r.GetContext(ctx, &text, "SELECT layout FROM layouts WHERE signature = ?", signature)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, wrap(err)
	}
	return true, wrap(json.Unmarshal([]byte(text), into))
}

// KeepLayout remembers a confirmed layout.
func (s *Store) KeepLayout(ctx context.Context, signature string, l ingest.Layout) error {
	text, err := json.Marshal(l)
	if err != nil {
		return wrap(err)
	}
	return s.within(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.Exec(`INSERT INTO layouts(signature, kind, layout) VALUES(?, ?, ?)
			ON CONFLICT(signature) DO UPDATE SET kind = excluded.kind, layout = excluded.layout`, signature, l.Kind, string(text))
		return wrap(err)
	})
}
