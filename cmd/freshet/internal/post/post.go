// Package post sends letters: it makes a report's parts into a message, keeps
// it in the outbox before a byte of it is sent, and hands it to a mail server.
//
// A letter goes out once. Where it can't be known whether the server has it,
// it goes out once more after a pause, with the same Message-ID, so that one
// or two copies arrive: never none, never three. No database transaction is
// open while the network is waited for.
//
// The package refuses a mail server without a private connection, unless it is
// this machine, and addresses that could end a header line.
//
// To use it: Message, store.PutLetter, then Outbox.Deliver as often as one
// likes.
package post

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"log/slog"
	"runtime"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"freshet/ingest/store"
	report "freshet/report/mail"
)

const onWindows = runtime.GOOS == "windows"

// Envelope says from whom and to whom a message goes.
type Envelope struct {
	From, To  string // plain addresses
	MessageID string // without its brackets; see NewMessageID
	Date      time.Time
}

// NewMessageID makes an id that no other message has, at the sender's domain.
func NewMessageID(from string) string {
	var b [16]byte
	rand.Read(b[:])
	_, domain, _ := strings.Cut(from, "@")
	return hex.EncodeToString(b[:]) + "@" + domain
}

// Message puts a letter's parts together as a mail program reads them. page,
// if there is any, is attached as an HTML file.
func Message(e Envelope, l report.Letter, page []byte) ([]byte, error) {
	for _, a := range []string{e.From, e.To} {
		if err := CheckAddress(a); err != nil {
			return nil, err
		}
	}
	m := mail.NewMsg(mail.WithNoDefaultUserAgent())
	if err := m.FromFormat("freshet", e.From); err != nil {
		return nil, fmt.Errorf("post: %w", err)
	}
	if err := m.To(e.To); err != nil {
		return nil, fmt.Errorf("post: %w", err)
	}
	m.Subject(oneLine(l.Subject))
	m.SetMessageIDWithValue(e.MessageID)
	m.SetDateWithValue(e.Date)
	m.SetBodyString(mail.TypeTextPlain, l.Text)
	m.AddAlternativeString(mail.TypeTextHTML, l.HTML)
	for _, p := range l.Pictures {
		if err := m.EmbedReader(p.Name, bytes.NewReader(p.PNG), mail.WithFileContentType("image/png")); err != nil {
			return nil, fmt.Errorf("post: %w", err)
		}
	}
	if page != nil {
		if err := m.AttachReader("weekly-report.html", bytes.NewReader(page), mail.WithFileContentType("text/html")); err != nil {
			return nil, fmt.Errorf("post: %w", err)
		}
	}
	var b bytes.Buffer
	if _, err := m.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("post: %w", err)
	}
	return b.Bytes(), nil
}

// oneLine keeps a shop's name from ending the subject's line.
func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }), " ")
}

// Outbox sends what the database holds.
type Outbox struct {
	Store  *store.Store
	Server Server
	From   string
	Owner  string // of the letters that this process claims: any name that no other has
	Now    func() time.Time
	Log    *slog.Logger
}

const (
	lease    = 10 * time.Minute // longer than any conversation
	mostTry  = 40               // attempts before a person is asked: several days
	longest  = 4 * time.Hour    // between attempts
	shortest = time.Minute
)

// Deliver sends every letter that is due, and tells how many were taken.
func (o *Outbox) Deliver(ctx context.Context) (sent int, err error) {
	for {
		l, ok, err := o.Store.ClaimLetter(ctx, o.Owner, o.Now(), lease)
		if err != nil || !ok {
			return sent, err
		}
		out := o.Server.Send(ctx, o.From, l.Recipient, l.Message, func() error { return o.Store.SendingLetter(ctx, l.ID, o.Owner) })
		// What became of it is kept even if ctx has ended meanwhile.
		state, err := o.Store.EndLetter(context.WithoutCancel(ctx), l.ID, o.Owner, o.end(l, out), o.Now())
		if err != nil {
			return sent, err
		}
		o.Log.Info("a letter", "purpose", l.Purpose, "state", state)
		if state == store.Sent {
			sent++
		}
		if err := ctx.Err(); err != nil {
			return sent, err
		}
	}
}

// end says what is to be done after an attempt.
func (o *Outbox) end(l store.Letter, out Outcome) store.LetterEnd {
	e := store.LetterEnd{Said: out.Said, NotTaken: out.NotTaken}
	switch out.Fate {
	case Accepted:
		e.State = store.Sent
	case Unknown:
		e.State = store.Unknown
	case Refused:
		e.State = store.Refused
	case Later:
		e.State, e.Due = store.Waiting, o.Now().Add(min(longest, shortest<<min(l.Tries-1, 20)))
		if l.Tries >= mostTry {
			e.State = store.Refused
			e.Said = fmt.Sprintf("tried %d times, the last time: %s", l.Tries, out.Said)
		}
	}
	return e
}
