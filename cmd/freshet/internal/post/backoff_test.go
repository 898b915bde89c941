package post

import (
	"strings"
	"testing"
	"time"

	"freshet/ingest/store"
)

// What is to be done after an attempt: a letter that is put off comes back
// after a minute, then after twice as long each time up to four hours, and
// goes to a person after the fortieth.
func TestEnd(t *testing.T) {
	now := time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)
	o := Outbox{Now: func() time.Time { return now }}
	for tries, wait := range map[int]time.Duration{1: time.Minute, 2: 2 * time.Minute, 5: 16 * time.Minute, 8: 128 * time.Minute, 9: 4 * time.Hour, 22: 4 * time.Hour, 39: 4 * time.Hour} {
		if e := o.end(store.Letter{Tries: tries}, Outcome{Fate: Later, Said: "busy"}); e.State != store.Waiting || !e.Due.Equal(now.Add(wait)) || e.Said != "busy" {
			t.Errorf("after %d tries: want it again in %v, have %+v", tries, wait, e)
		}
	}
	for _, tries := range []int{40, 41} {
		if e := o.end(store.Letter{Tries: tries}, Outcome{Fate: Later, Said: "busy"}); e.State != store.Refused || !strings.Contains(e.Said, "the last time: busy") {
			t.Errorf("after %d tries: want it left to a person, have %+v", tries, e)
		}
	}
	for fate, state := range map[Fate]store.LetterState{Accepted: store.Sent, Unknown: store.Unknown, Refused: store.Refused} {
		if e := o.end(store.Letter{Tries: 1}, Outcome{Fate: fate, Said: "x", NotTaken: true}); e.State != state || e.Said != "x" || !e.NotTaken {
			t.Errorf("%v: have %+v", fate, e)
		}
	}
}

// A shop's name can't end the subject's line, nor an address be more than one.
func TestMessageLines(t *testing.T) {
	l := letter()
	l.Subject = "one\r\nBcc: two@b.example\x7f\tthree"
	m, err := Message(envelope, l, []byte("<p>page</p>"))
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(m), "\r\n\r\n")
	for line := range strings.Lines(head) {
		if strings.HasPrefix(strings.ToLower(line), "bcc") {
			t.Errorf("the head has %q", line)
		}
	}
	if !strings.Contains(head, "Subject: one Bcc: two@b.example three") || !strings.Contains(string(m), "weekly-report.html") {
		t.Errorf("have\n%s", head)
	}
	for _, want := range []string{"Date: " + envelope.Date.Format(time.RFC1123Z), "Message-ID: <" + envelope.MessageID + ">"} {
		if !strings.Contains(head, want+"\r\n") {
			t.Errorf("want %q, have\n%s", want, head)
		}
	}
	without, err := Message(envelope, l, nil)
	if err != nil || strings.Contains(string(without), "weekly-report.html") {
		t.Errorf("want no page attached, have %v", err)
	}
	for _, e := range []Envelope{{From: "x", To: envelope.To}, {From: envelope.From, To: "a@b.example, c@d.example"}} {
		if _, err := Message(e, l, nil); err == nil {
			t.Errorf("want %+v refused", e)
		}
	}
}

// Only what a server took counts as sent, and while one process has a letter
// in its hands no other takes it.
func TestDeliverCounts(t *testing.T) {
	now := envelope.Date
	r := &rude{}
	o := outbox(t, r.serve(t), &now)
	put(t, o, "one")
	put(t, o, "two")
	if _, ok, err := o.Store.ClaimLetter(t.Context(), "another", now, lease); !ok || err != nil {
		t.Fatal(ok, err)
	}
	now = now.Add(9 * time.Minute)
	if n, err := o.Deliver(t.Context()); n != 1 || err != nil || r.arrived() != 1 {
		t.Errorf("want the one that nobody has sent, have %d, %v, %d arrived", n, err, r.arrived())
	}
	now = now.Add(2 * time.Minute)
	if n, err := o.Deliver(t.Context()); n != 1 || err != nil || r.arrived() != 2 {
		t.Errorf("want the other once its process was silent, have %d, %v, %d arrived", n, err, r.arrived())
	}
	r = &rude{rcpt: "550 no such user"}
	o = outbox(t, r.serve(t), &now)
	put(t, o, "three")
	if n, err := o.Deliver(t.Context()); n != 0 || err != nil {
		t.Errorf("want none counted that was refused, have %d, %v", n, err)
	}
}
