package store

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"freshet/forecast"
	"freshet/ingest"

	"github.com/jmoiron/sqlx"
)

// AlertNote is what someone said of an alert: that it was seen, or what was
// behind it.
type AlertNote struct {
	Alert       string        // the name that the alert was called by
	Rule        string        // what found it
	Kind        string        // the group's name, or what stands for all
	Failure     string        // what notes of jobs name; empty: nothing
	Above       bool          // more came than expected
	Began       forecast.Date // its first day
	Because     string        // empty: seen, not explained
	OneTime     bool          // From to Until say nothing of other years
	From, Until forecast.Date // days, both included
	On          forecast.Date // the day that was asked about
	Who         string
	At          time.Time
}

// mostBecause is how many letters an explanation may have.
const mostBecause = 200

// BadNote is the error of a note that can't be kept.
type BadNote struct{ why string }

func (e *BadNote) Error() string { return "store: " + e.why }

func (n AlertNote) check() error {
	bad := func(format string, args ...any) error { return &BadNote{fmt.Sprintf(format, args...)} }
	switch {
	case n.Alert == "" || n.Who == "":
		return bad("need the alert and who says so, have %q and %q", n.Alert, n.Who)
	case utf8.RuneCountInString(n.Because) > mostBecause || strings.ContainsFunc(n.Because, func(r rune) bool { return r < ' ' }):
		return bad("need an explanation in one line of up to %d letters, have %.60q", mostBecause, n.Because)
	case n.OneTime && n.Because == "":
		return bad("need an explanation of weeks that won't come again, have none")
	case n.Until < n.From:
		return bad("need a last day on or after the first, have %v to %v", n.From, n.Until)
	}
	return nil
}

const noteColumns = "alert, rule, kind, failure, above, began, from_, until, because, one_time, said_on, who, made_at"

// KeepNote keeps a note. The error is a *BadNote if it says nothing that can be
// kept.
func (s *Store) KeepNote(ctx context.Context, n AlertNote) error {
	n.Because = strings.TrimSpace(n.Because)
	if err := n.check(); err != nil {
		return err
	}
	values := []any{n.Alert, n.Rule, n.Kind, n.Failure, bit(n.Above), n.Began.String(), n.From.String(), n.Until.String(), n.Because, bit(n.OneTime), n.On.String(), n.Who, n.At.UTC().Format(time.RFC3339)}
	var text bytes.Buffer
	encode(&text, values)
	digest := digestOf(text.Bytes())
	return s.within(ctx, func(tx *sqlx.Tx) error {
		_, err := tx.Exec("INSERT INTO notes("+noteColumns+", digest) VALUES(?"+strings.Repeat(", ?", len(values))+")", append(values, digest[:])...)
		return wrap(err)
	})
}

// Notes gives the notes that were made by asOf, that day included, and weren't
// taken back, in the order in which they were made. Kinds are by today's groups.
func (s *Store) Notes(ctx context.Context, asOf forecast.Date) ([]AlertNote, error) {
	grouping, err := s.groups(ctx)
	if err != nil {
		return nil, err
	}
	rows, err := s.r.QueryContext(ctx, "SELECT "+noteColumns+" FROM notes WHERE said_on <= ? AND id NOT IN (SELECT note FROM note_undos) ORDER BY id", asOf.String())
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []AlertNote
	for rows.Next() {
		var n AlertNote
		var began, from, until, on, at string
		if err := rows.Scan(&n.Alert, &n.Rule, &n.Kind, &n.Failure, &n.Above, &began, &from, &until, &n.Because, &n.OneTime, &on, &n.Who, &at); err != nil {
			return nil, wrap(err)
		}
		n.Kind = grouping.of(n.Kind)
		for _, d := range []struct {
			text string
			into *forecast.Date
		}{{began, &n.Began}, {from, &n.From}, {until, &n.Until}, {on, &n.On}} {
			if *d.into, err = forecast.ParseDate(d.text); err != nil {
				return nil, wrap(err)
			}
		}
		if n.At, err = time.Parse(time.RFC3339, at); err != nil {
			return nil, wrap(err)
		}
		out = append(out, n)
	}
	return out, wrap(rows.Err())
}

// NoNote is the error of an alert of which nothing is said.
type NoNote struct{ Alert string }

func (e *NoNote) Error() string {
	return fmt.Sprintf("store: need an alert with a note to take back, have %q", e.Alert)
}

// TakeNoteBack takes the newest note on an alert back, and gives what it said.
// Without one the error is a *NoNote.
func (s *Store) TakeNoteBack(ctx context.Context, alert, who string, now time.Time) (because string, err error) {
	err = s.within(ctx, func(tx *sqlx.Tx) error {
		var rows []struct {
			ID      int64
			Because string
		}
		if err := tx.Select(&rows, "SELECT id, because FROM notes WHERE alert = ? AND id NOT IN (SELECT note FROM note_undos) ORDER BY id DESC LIMIT 1", alert); err != nil {
			return wrap(err)
		}
		if len(rows) == 0 {
			return &NoNote{alert}
		}
		because = rows[0].Because
		_, err := tx.Exec("INSERT INTO note_undos(note, who, made_at) VALUES(?, ?, ?)", rows[0].ID, who, now.UTC().Format(time.RFC3339))
		return wrap(err)
	})
	return because, err
}

// ExportNotes writes all notes, those taken back too, as CSV, and gives their
// number.
func (s *Store) ExportNotes(ctx context.Context, w io.Writer) (n int, err error) {
	out := csv.NewWriter(w)
	out.Write([]string{"alert", "rule", "kind", "failure", "direction", "began", "from", "until", "because", "one_time", "said_on", "who", "made_at", "taken_back_by", "taken_back_at"})
	rows, err := s.r.QueryContext(ctx, `SELECT alert, rule, kind, failure, CASE above WHEN 1 THEN 'more' ELSE 'fewer' END, began, from_, until, because, CASE one_time WHEN 1 THEN 'yes' ELSE 'no' END, said_on, notes.who, notes.made_at,
		coalesce(note_undos.who, ''), coalesce(note_undos.made_at, '') FROM notes LEFT JOIN note_undos ON note = id ORDER BY id`)
	if err != nil {
		return 0, wrap(err)
	}
	defer rows.Close()
	cells := make([]string, 15)
	into := make([]any, len(cells))
	for i := range cells {
		into[i] = &cells[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return n, wrap(err)
		}
		for i, c := range cells {
			cells[i] = ingest.Guard(c)
		}
		if err := out.Write(cells); err != nil {
			return n, wrap(err)
		}
		n++
	}
	if err := rows.Err(); err != nil {
		return n, wrap(err)
	}
	out.Flush()
	return n, wrap(out.Error())
}

// notes checks that each note is as it was kept.
func (c *checker) notes() error {
	var text bytes.Buffer
	return c.each("SELECT id, digest, "+noteColumns+" FROM notes", func(v []any) error {
		text.Reset()
		encode(&text, v[2:])
		digest := digestOf(text.Bytes())
		if kept, _ := v[1].([]byte); !bytes.Equal(digest[:], kept) {
			c.fault("note %d on the alert %v is not what was kept", v[0], v[2])
		}
		c.h.Notes++
		return nil
	})
}
