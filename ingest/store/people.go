package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"
)

// Passphrase gives the hash kept for a role and when it was set, both empty if
// none was.
func (s *Store) Passphrase(ctx context.Context, role string) (hash, set string, err error) {
	err = s.r.QueryRowContext(ctx, "SELECT hash, set_at FROM passphrases WHERE role = ?", role).Scan(&hash, &set)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", nil
	}
	return hash, set, wrap(err)
}

// SetPassphrase keeps a role's hash; an empty one takes the passphrase away.
// Whoever logged in with the earlier one is logged out by the change of set.
func (s *Store) SetPassphrase(ctx context.Context, role, hash string, now time.Time) error {
	return s.within(ctx, func(tx *sqlx.Tx) error {
		if hash == "" {
			_, err := tx.Exec("DELETE FROM passphrases WHERE role = ?", role)
			return wrap(err)
		}
		_, err := tx.Exec("INSERT INTO passphrases(role, hash, set_at) VALUES(?, ?, ?) ON CONFLICT(role) DO UPDATE SET hash = excluded.hash, set_at = excluded.set_at",
			role, hash, now.UTC().Format(time.RFC3339Nano))
		return wrap(err)
	})
}

// Sessions keeps who is logged in, in the manner of scs.Store, under the
// SHA-256 of each token: the tokens themselves are nowhere in the database.
type Sessions struct{ s *Store }

// Sessions gives the sessions kept in the database.
func (s *Store) Sessions() Sessions { return Sessions{s} }

// touched is how stale a session's end may grow before it is written again:
// else every page shown would be a write to the disk. patience is how long that
// waits for a file that is being taken in: the next page tries again.
const (
	touched  = 5 * time.Minute
	patience = 50 * time.Millisecond
)

// Find gives the data under a token, and false if there is none or its time is
// over.
func (s Sessions) Find(token string) ([]byte, bool, error) {
	id := sha256.Sum256([]byte(token))
	var data []byte
	err := s.s.r.Get(&data, "SELECT data FROM sessions WHERE id = ? AND until > unixepoch()", id[:])
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	return data, err == nil, wrap(err)
}

// Commit keeps data under a token until its time is over, and clears away
// those whose time is.
func (s Sessions) Commit(token string, data []byte, until time.Time) error {
	id := sha256.Sum256([]byte(token))
	var known, fresh bool
	err := s.s.r.QueryRow("SELECT count(*), coalesce(max(CASE WHEN until BETWEEN ? AND ? THEN 1 ELSE 0 END), 0) FROM sessions WHERE id = ? AND data = ? AND until > unixepoch()",
		until.Add(-touched).Unix(), until.Unix(), id[:], data).Scan(&known, &fresh)
	if err != nil || fresh {
		return wrap(err)
	}
	if known && (s.s.Refusal() != nil || !s.s.idle(patience)) { // who is logged in may go on looking
		return nil
	}
	err = s.s.within(context.Background(), func(tx *sqlx.Tx) error {
		if _, err := tx.Exec("DELETE FROM sessions WHERE until <= unixepoch()"); err != nil {
			return wrap(err)
		}
		_, err := tx.Exec("INSERT INTO sessions(id, data, until) VALUES(?, ?, ?) ON CONFLICT(id) DO UPDATE SET data = excluded.data, until = excluded.until", id[:], data, until.Unix())
		return wrap(err)
	})
	if known && busy(err) { // another process takes a file in
		return nil
	}
	return err
}

// idle waits until the writer is free, though no longer than patience, and
// tells whether it is.
func (s *Store) idle(patience time.Duration) bool {
	ctx, stop := context.WithTimeout(context.Background(), patience)
	defer stop()
	c, err := s.w.Conn(ctx)
	if err != nil {
		return false
	}
	return c.Close() == nil
}

// Delete forgets a token.
func (s Sessions) Delete(token string) error {
	id := sha256.Sum256([]byte(token))
	return s.s.within(context.Background(), func(tx *sqlx.Tx) error {
		_, err := tx.Exec("DELETE FROM sessions WHERE id = ?", id[:])
		return wrap(err)
	})
}

// Limits on guessing. An address has a few free tries, then waits longer after
// each; once too many failed from everywhere, addresses that have failed before
// share one slow line, so that one that hasn't is still let in at once.
const (
	freeGuesses    = 5
	longestBackOff = time.Minute
	freeForAll     = 10
	longestForAll  = 2 * time.Minute
	guessesForget  = time.Hour
)

func backOff(failed, free int, longest time.Duration) time.Duration {
	if failed < free {
		return 0
	}
	return min(longest, time.Second<<min(failed-free, 10))
}

// Guess counts a guess at a passphrase from an address before it is looked at,
// so that neither a kill nor guesses at one time escape the count. wait is how
// long to hold back; where it isn't 0, the guess must not be looked at, and
// isn't counted.
func (s *Store) Guess(ctx context.Context, source string, now time.Time) (wait time.Duration, err error) {
	err = s.within(ctx, func(tx *sqlx.Tx) error {
		read := func(source string) (failed int, since time.Duration, err error) {
			var last int64
			err = tx.QueryRow("SELECT failed, last FROM guesses WHERE source = ?", source).Scan(&failed, &last)
			if errors.Is(err, sql.ErrNoRows) {
				return 0, 0, nil
			}
			// A clock that was wrong and was set back must lock nobody out.
			if since = now.Sub(time.UnixMilli(last)).Abs(); since > guessesForget {
				failed = 0
			}
			return failed, since, wrap(err)
		}
		one, sinceOne, err := read(source)
		if err != nil {
			return err
		}
		all, sinceAll, err := read("")
		if err != nil {
			return err
		}
		wait = backOff(one, freeGuesses, longestBackOff) - sinceOne
		if one > 0 {
			wait = max(wait, backOff(all, freeForAll, longestForAll)-sinceAll)
		}
		if wait = max(0, wait); wait > 0 {
			return nil
		}
		for name, failed := range map[string]int{source: one, "": all} {
			if _, err := tx.Exec("INSERT INTO guesses(source, failed, last) VALUES(?, ?, ?) ON CONFLICT(source) DO UPDATE SET failed = excluded.failed, last = excluded.last",
				name, failed+1, now.UnixMilli()); err != nil {
				return wrap(err)
			}
		}
		_, err = tx.Exec("DELETE FROM guesses WHERE last < ?", now.Add(-guessesForget).UnixMilli())
		return wrap(err)
	})
	return wait, err
}

// Guessed takes back the count of the guess that was right, and forgets the
// address's earlier ones.
func (s *Store) Guessed(ctx context.Context, source string) error {
	return s.within(ctx, func(tx *sqlx.Tx) error {
		if _, err := tx.Exec("UPDATE guesses SET failed = failed - 1 WHERE source = '' AND failed > 0"); err != nil {
			return wrap(err)
		}
		_, err := tx.Exec("DELETE FROM guesses WHERE source = ?", source)
		return wrap(err)
	})
}

// Change is something that a person changed on the pages.
type Change struct {
	At   time.Time
	Who  string // a role
	What string // a sentence
}

// Note keeps who changed what.
func (s *Store) Note(ctx context.Context, c Change) error {
	return s.within(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.Exec("INSERT INTO changes(at, who, what) VALUES(?, ?, ?)", c.At.UTC().Format(time.RFC3339), c.Who, c.What)
		return wrap(err)
	})
}

// LastChange gives the number of the last change, which rises from one to the
// next; 0 before the first.
func (s *Store) LastChange(ctx context.Context) (n int64, err error) {
	err = s.r.GetContext(ctx, &n, "SELECT coalesce(max(id), 0) FROM changes")
	return n, wrap(err)
}

// Changes gives the last changes, newest first.
func (s *Store) Changes(ctx context.Context, most int) ([]Change, error) {
	rows, err := s.r.QueryContext(ctx, "SELECT at, who, what FROM changes ORDER BY id DESC LIMIT ?", most)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []Change
	for rows.Next() {
		var c Change
		var at string
		if err := rows.Scan(&at, &c.Who, &c.What); err != nil {
			return nil, wrap(err)
		}
		if c.At, err = time.Parse(time.RFC3339, at); err != nil {
			return nil, wrap(err)
		}
		out = append(out, c)
	}
	return out, wrap(rows.Err())
}
