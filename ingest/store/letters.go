package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/jmoiron/sqlx"
)

// LetterState says how far a letter has come.
type LetterState string

// The states. A letter is claimed by one process, which says sending before
// the server may have it; after that, an answer that never came is unknown.
const (
	Waiting LetterState = "waiting"
	Claimed LetterState = "claimed"
	Sending LetterState = "sending"
	Sent    LetterState = "sent"
	Unknown LetterState = "unknown" // it may have arrived, twice even
	Refused LetterState = "refused" // for good: a person has to see to it
	Skipped LetterState = "skipped" // a newer one took its place
)

// Letter is one message to one address.
type Letter struct {
	ID        int64
	Purpose   string
	Recipient string
	Subject   string
	MessageID string
	Message   []byte
	Run       int64 // that it tells of; 0 for none
	State     LetterState
	Tries     int
	Copies    int // times that it went out, or may have
	Said      string
	Due       time.Time
	MadeAt    time.Time
	EndedAt   time.Time // zero while it is under way
}

// resend is the pause before a letter of unknown fate goes out once more.
const resend = 15 * time.Minute

// mostCopies of one letter go out, whatever happens.
const mostCopies = 2

// farAhead is by how much a clock that was set back tells that it had been wrong:
// more than from one week's letter to the next. A smaller step back sends no
// letter of a week whose successor is out.
const farAhead = 8 * 24 * time.Hour

// PutLetter stores a letter to be sent, and is false if its purpose has one to
// that address already. Of purposes that begin with weekly/ the newest alone
// counts: older ones that still wait are skipped, and none comes after it.
// Those that a clock made which ran far ahead, later than this one, don't count.
func (s *Store) PutLetter(ctx context.Context, l Letter) (added bool, err error) {
	err = s.within(ctx, func(tx *sqlx.Tx) error {
		r, err := tx.Exec(`INSERT INTO letters(purpose, recipient, subject, message_id, message, run, state, due, made_at) SELECT ?, ?, ?, ?, ?, nullif(?, 0), 'waiting', ?, ?
			WHERE NOT EXISTS (SELECT 1 FROM letters WHERE recipient = ? AND purpose LIKE 'weekly/%' AND ? LIKE 'weekly/%' AND purpose > ? AND made_at <= ?)
			ON CONFLICT(purpose, recipient) DO NOTHING`, l.Purpose, l.Recipient, l.Subject, l.MessageID, l.Message, l.Run, instant(l.Due), instant(l.MadeAt),
			l.Recipient, l.Purpose, l.Purpose, instant(l.MadeAt.Add(farAhead)))
		if err != nil {
			return wrap(err)
		}
		n, err := r.RowsAffected()
		if added = n == 1; err != nil || !added {
			return wrap(err)
		}
		_, err = tx.Exec(`UPDATE letters SET state = 'skipped', ended_at = ? WHERE recipient = ? AND state = 'waiting' AND copies = 0
			AND purpose LIKE 'weekly/%' AND ? LIKE 'weekly/%' AND (purpose < ? OR made_at > ?)`, instant(l.MadeAt), l.Recipient, l.Purpose, l.Purpose, instant(l.MadeAt.Add(farAhead)))
		return wrap(err)
	})
	return added && err == nil, err
}

// HasLetter tells whether PutLetter would put none with a purpose now: there is
// one to that address, or, of weekly ones, a newer.
func (s *Store) HasLetter(ctx context.Context, purpose, recipient string, now time.Time) (bool, error) {
	var n int
	err := s.r.GetContext(ctx, &n, `SELECT count(*) FROM (SELECT 1 FROM letters WHERE recipient = ? AND
		(purpose = ? OR purpose LIKE 'weekly/%' AND ? LIKE 'weekly/%' AND purpose > ? AND made_at <= ?) LIMIT 1) AS found`, recipient, purpose, purpose, purpose, instant(now.Add(farAhead)))
	return n > 0, wrap(err)
}

// ClaimLetter gives the next letter that is due to owner alone, until the
// lease ends, and false if there is none. A letter whose process went away
// while sending may have arrived: it waits once more, or stays unknown.
func (s *Store) ClaimLetter(ctx context.Context, owner string, now time.Time, lease time.Duration) (l Letter, ok bool, err error) {
	if _, err := s.exec(ctx, `UPDATE letters SET state = CASE WHEN copies < ? THEN 'waiting' ELSE 'unknown' END, due = ?,
		said = 'it is not known whether it arrived: freshet ended while sending it', ended_at = CASE WHEN copies < ? THEN '' ELSE ? END
		WHERE state = 'sending' AND lease_until < ?`, mostCopies, instant(now.Add(resend)), mostCopies, instant(now), instant(now)); err != nil {
		return l, false, err
	}
	var row letterRow
	err = s.within(ctx, func(tx *sqlx.Tx) error {
		return wrap(tx.Get(&row, `UPDATE letters SET state = 'claimed', owner = ?, lease_until = ?, tries = tries + 1
			WHERE id = (SELECT id FROM letters WHERE due <= ? AND (state = 'waiting' OR state = 'claimed' AND lease_until < ?) ORDER BY due, id LIMIT 1)
			RETURNING `+letterColumns+`, message`, owner, instant(now.Add(lease)), instant(now), instant(now)))
	})
	if errors.Is(err, sql.ErrNoRows) {
		return l, false, nil
	}
	if err != nil {
		return l, false, err
	}
	l, err = row.letter()
	return l, true, err
}

// SendingLetter marks a claimed letter as on its way, before its server may
// have it. It is an error if owner no longer holds it.
func (s *Store) SendingLetter(ctx context.Context, id int64, owner string) error {
	return s.letterIs(ctx, "UPDATE letters SET state = 'sending', copies = copies + 1 WHERE id = ? AND owner = ? AND state = 'claimed'", id, owner)
}

// A LetterEnd is what became of an attempt.
type LetterEnd struct {
	State LetterState // Sent, Refused, Unknown or Waiting
	Due   time.Time   // where it waits
	Said  string
	// NotTaken says that the server surely doesn't have it although sending
	// had begun.
	NotTaken bool
}

// EndLetter records what became of an attempt by owner. Of an unknown one, the
// letter waits to go out once more if it may; the state that it is in now is
// given back.
func (s *Store) EndLetter(ctx context.Context, id int64, owner string, e LetterEnd, now time.Time) (LetterState, error) {
	var copies int
	if err := s.r.GetContext(ctx, &copies, "SELECT copies FROM letters WHERE id = ?", id); err != nil {
		return "", wrap(err)
	}
	if e.State == Unknown && copies < mostCopies {
		e.State, e.Due = Waiting, now.Add(resend)
	}
	ended := ""
	if e.State != Waiting {
		ended, e.Due = instant(now), now
	}
	took := 0
	if e.NotTaken {
		took = 1
	}
	return e.State, s.letterIs(ctx, "UPDATE letters SET state = ?, due = ?, said = ?, ended_at = ?, copies = copies - ? WHERE id = ? AND owner = ? AND state IN ('claimed', 'sending')",
		string(e.State), instant(e.Due), e.Said, ended, took, id, owner)
}

func (s *Store) letterIs(ctx context.Context, query string, args ...any) error {
	r, err := s.exec(ctx, query, args...)
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err != nil {
		return wrap(err)
	} else if n != 1 {
		return errors.New("store: need the letter to be this process's own, but another has it")
	}
	return nil
}

// NoLetter is the error of a letter that isn't in the outbox.
type NoLetter struct{ ID int64 }

func (e *NoLetter) Error() string { return fmt.Sprintf("store: there is no letter %d", e.ID) }

// LetterAgain puts a copy of a letter to be sent, by a person's wish, with the
// same message. A wish that comes twice within a second is one. Without that letter
// the error is a *NoLetter.
func (s *Store) LetterAgain(ctx context.Context, id int64, now time.Time) error {
	r, err := s.exec(ctx, `INSERT INTO letters(purpose, recipient, subject, message_id, message, state, due, made_at)
		SELECT 'again/' || ? || '/' || purpose, recipient, subject, message_id, message, 'waiting', ?, ? FROM letters WHERE id = ?
		ON CONFLICT(purpose, recipient) DO UPDATE SET made_at = excluded.made_at`,
		instant(now), instant(now), instant(now), id)
	if err != nil {
		return err
	}
	if n, err := r.RowsAffected(); err != nil {
		return wrap(err)
	} else if n == 0 {
		return &NoLetter{id}
	}
	return nil
}

// Letters gives the newest letters, without their messages.
func (s *Store) Letters(ctx context.Context, most int) ([]Letter, error) {
	var rows []letterRow
	if err := s.r.SelectContext(ctx, &rows, "SELECT "+letterColumns+" FROM letters ORDER BY id DESC LIMIT ?", most); err != nil {
		return nil, wrap(err)
	}
	out := make([]Letter, len(rows))
	for i, r := range rows {
		var err error
		if out[i], err = r.letter(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

const letterColumns = "id, purpose, recipient, subject, message_id, coalesce(run, 0) AS run, state, tries, copies, due, said, made_at, ended_at"

// letterRow is a letter as it is kept.
type letterRow struct {
	ID        int64
	Purpose   string
	Recipient string
	Subject   string
	MessageID string `db:"message_id"`
	Message   []byte
	Run       int64
	State     LetterState
	Tries     int
	Copies    int
	Said      string
	Due       string
	MadeAt    string `db:"made_at"`
	EndedAt   string `db:"ended_at"`
}

func (r letterRow) letter() (l Letter, err error) {
	l = Letter{ID: r.ID, Purpose: r.Purpose, Recipient: r.Recipient, Subject: r.Subject, MessageID: r.MessageID, Message: r.Message, Run: r.Run,
		State: r.State, Tries: r.Tries, Copies: r.Copies, Said: r.Said}
	for _, t := range []struct {
		text string
		into *time.Time
	}{{r.Due, &l.Due}, {r.MadeAt, &l.MadeAt}, {r.EndedAt, &l.EndedAt}} {
		if t.text == "" {
			continue
		}
		if *t.into, err = time.Parse(time.RFC3339, t.text); err != nil {
			return l, fmt.Errorf("store: letter %d: %w", l.ID, err)
		}
	}
	return l, nil
}

// instant writes a moment so that texts sort as moments do.
func instant(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// NextLetter tells when the outbox next has something to do, and false if all of
// its letters have come to an end.
func (s *Store) NextLetter(ctx context.Context) (due time.Time, ok bool, err error) {
	var text sql.Null[string]
	if err := s.r.GetContext(ctx, &text, "SELECT min(CASE WHEN state = 'waiting' THEN due ELSE lease_until END) FROM letters WHERE state IN ('waiting', 'claimed', 'sending')"); err != nil || !text.Valid {
		return due, false, wrap(err)
	}
	due, err = time.Parse(time.RFC3339, text.V)
	return due, true, wrap(err)
}
