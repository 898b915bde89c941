package store_test

import (
	"context"
	"testing"
	"time"

	"freshet/ingest/store"
)

// A letter's way from one hand to the next: one process has it at a time, it
// is out of its hands when its time is over, and no more than two copies go out
// whatever becomes of them.
func TestLettersWay(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	put := func(purpose string, due time.Time) bool {
		t.Helper()
		added, err := s.PutLetter(ctx, store.Letter{Purpose: purpose, Recipient: "a@b.example", Subject: "s", MessageID: purpose + "@b", Message: []byte("text"), Due: due, MadeAt: at})
		if err != nil {
			t.Fatal(err)
		}
		return added
	}
	claim := func(owner string, now time.Time) int64 {
		t.Helper()
		l, ok, err := s.ClaimLetter(ctx, owner, now, 10*time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		if ok && string(l.Message) != "text" {
			t.Errorf("have %+v", l)
		}
		return l.ID
	}
	of := func(id int64) store.Letter {
		t.Helper()
		all, err := s.Letters(ctx, 100)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range all {
			if l.ID == id {
				return l
			}
		}
		t.Fatalf("letter %d is gone", id)
		return store.Letter{}
	}
	if !put("test/1", at.Add(time.Hour)) || put("test/1", at) {
		t.Error("want a purpose's letter once")
	}
	if has, err := s.HasLetter(ctx, "test/1", "a@b.example", at); err != nil || !has {
		t.Errorf("have %v, %v", has, err)
	}
	for _, other := range [][2]string{{"test/2", "a@b.example"}, {"test/1", "c@d.example"}} {
		if has, err := s.HasLetter(ctx, other[0], other[1], at); err != nil || has {
			t.Errorf("%v: have %v, %v", other, has, err)
		}
	}
	if id := claim("one", at); id != 0 {
		t.Errorf("letter %d is handed out an hour early", id)
	}
	now := at.Add(time.Hour)
	id := claim("one", now)
	if id == 0 || claim("two", now.Add(9*time.Minute)) != 0 {
		t.Fatal("want the letter in one process's hands for ten minutes")
	}
	if now = now.Add(11 * time.Minute); claim("two", now) != id {
		t.Fatal("want it handed on when its time is over")
	}
	if err := s.SendingLetter(ctx, id, "one"); err == nil {
		t.Error("want who lost it refused")
	}
	if _, err := s.EndLetter(ctx, id, "one", store.LetterEnd{State: store.Sent}, now); err == nil {
		t.Error("want who lost it refused")
	}
	// Both copies go out, and of neither is known what became of it.
	for copy := 1; copy <= 2; copy++ {
		if err := s.SendingLetter(ctx, id, "two"); err != nil {
			t.Fatal(err)
		}
		if err := s.SendingLetter(ctx, id, "two"); err == nil {
			t.Error("want it sent once for each time it was handed out")
		}
		state, err := s.EndLetter(ctx, id, "two", store.LetterEnd{State: store.Unknown, Said: "no answer"}, now)
		if err != nil {
			t.Fatal(err)
		}
		l := of(id)
		if l.Copies != copy || l.State != state {
			t.Errorf("copy %d: have %+v, %s", copy, l, state)
		}
		if copy == 1 {
			if state != store.Waiting || !l.Due.Equal(now.Add(15*time.Minute)) || !l.EndedAt.IsZero() {
				t.Fatalf("want it once more in a quarter of an hour, have %+v", l)
			}
			if claim("two", now.Add(14*time.Minute)) != 0 {
				t.Error("want a quarter of an hour between copies")
			}
			if now = l.Due; claim("two", now) != id {
				t.Fatal("want the second copy handed out")
			}
		} else if state != store.Unknown || !l.EndedAt.Equal(now) {
			t.Errorf("want no third copy, have %+v", l)
		}
	}
	if claim("two", now.Add(100*time.Hour)) != 0 {
		t.Error("want no third copy")
	}
	// By a person's wish it goes out once more, from the start.
	if err := s.LetterAgain(ctx, id, now); err != nil {
		t.Fatal(err)
	}
	if err := s.LetterAgain(ctx, id, now); err != nil {
		t.Errorf("asked for twice in a moment it is one wish: %v", err)
	}
	again := claim("three", now)
	if claim("four", now) != 0 {
		t.Error("want one copy of one wish")
	}
	if l := of(again); again == id || l.MessageID != "test/1@b" || l.Copies != 0 || l.Tries != 1 {
		t.Errorf("have %+v", l)
	}
	if err := s.LetterAgain(ctx, 999, now); err == nil {
		t.Error("want a letter that there isn't refused")
	}
	// A server that surely doesn't have it: the copy doesn't count.
	if err := s.SendingLetter(ctx, again, "three"); err != nil {
		t.Fatal(err)
	}
	if state, err := s.EndLetter(ctx, again, "three", store.LetterEnd{State: store.Waiting, Due: now.Add(time.Minute), NotTaken: true}, now); err != nil || state != store.Waiting {
		t.Fatal(state, err)
	}
	if l := of(again); l.Copies != 0 || !l.Due.Equal(now.Add(time.Minute)) {
		t.Errorf("have %+v", l)
	}
}

// A process that goes away while it sends leaves a letter that may have
// arrived: it waits once more, and after the second time nobody knows.
func TestLetterOfAProcessThatWentAway(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	if _, err := s.PutLetter(ctx, store.Letter{Purpose: "test", Recipient: "a@b.example", Message: []byte("text"), Due: at, MadeAt: at}); err != nil {
		t.Fatal(err)
	}
	now := at
	for copy := 1; copy <= 2; copy++ {
		l, ok, err := s.ClaimLetter(ctx, "gone", now, 10*time.Minute)
		if err != nil || !ok {
			t.Fatalf("copy %d: have %v, %v", copy, ok, err)
		}
		if err := s.SendingLetter(ctx, l.ID, "gone"); err != nil {
			t.Fatal(err)
		}
		now = now.Add(11 * time.Minute)
		if _, ok, err := s.ClaimLetter(ctx, "next", now, 10*time.Minute); err != nil || ok {
			t.Fatalf("copy %d: want a pause before anyone has it, have %v, %v", copy, ok, err)
		}
		all, err := s.Letters(ctx, 1)
		if err != nil {
			t.Fatal(err)
		}
		if copy == 1 && (all[0].State != store.Waiting || !all[0].Due.Equal(now.Add(15*time.Minute)) || !all[0].EndedAt.IsZero()) ||
			copy == 2 && (all[0].State != store.Unknown || !all[0].EndedAt.Equal(now)) {
			t.Fatalf("copy %d: have %+v", copy, all[0])
		}
		now = now.Add(15 * time.Minute)
	}
	if _, ok, err := s.ClaimLetter(ctx, "next", now.Add(time.Hour), time.Minute); err != nil || ok {
		t.Errorf("want no third copy, have %v, %v", ok, err)
	}
}

// Letters that a clock made which ran a year ahead keep none back once it is
// right again, nor do they go out a year later; a newer one of before does.
func TestLettersOfAClockAhead(t *testing.T) {
	s, ctx := open(t), t.Context()
	put := func(week string, made time.Time, want bool) {
		t.Helper()
		has, err := s.HasLetter(ctx, "weekly/"+week, "a@b.example", made)
		if err != nil || has == want {
			t.Errorf("%s: have a letter %v, %v", week, has, err)
		}
		if added, err := s.PutLetter(ctx, store.Letter{Purpose: "weekly/" + week, Recipient: "a@b.example", MessageID: week + "@b", Message: []byte("text"), Due: made, MadeAt: made}); added != want || err != nil {
			t.Errorf("%s: put %v, %v", week, added, err)
		}
	}
	put("2026-W10", at, true)
	put("2027-W10", at.AddDate(1, 0, 0), true)
	put("2026-W11", at.AddDate(0, 0, 7), true)
	put("2026-W10", at.AddDate(0, 0, 7), false)
	put("2026-W09", at.AddDate(0, 0, 7), false)
	all, err := s.Letters(ctx, 9)
	if err != nil || len(all) != 3 || all[0].State != store.Waiting || all[1].State != store.Skipped || all[2].State != store.Skipped {
		t.Errorf("want the newest alone to wait, have %+v, %v", all, err)
	}
}

// A clock that is set back by less than a week sends no letter of a week whose
// successor is out.
func TestLettersOfAClockSetBack(t *testing.T) {
	s, ctx := open(t), t.Context()
	for _, c := range []struct {
		week string
		made time.Time
		want bool
	}{{"2026-W11", at.AddDate(0, 0, 7), true}, {"2026-W10", at.AddDate(0, 0, 2), false}} {
		if added, err := s.PutLetter(ctx, store.Letter{Purpose: "weekly/" + c.week, Recipient: "a@b.example", MessageID: c.week + "@b", Message: []byte("text"), Due: c.made, MadeAt: c.made}); added != c.want || err != nil {
			t.Errorf("%+v: put %v, %v", c, added, err)
		}
	}
}

// The outbox says when it next has something to do: when a letter is due, or its
// process's time over; and that it has nothing.
func TestNextLetter(t *testing.T) {
	s, ctx := open(t), t.Context()
	next := func(what string, want time.Time) {
		t.Helper()
		if due, ok, err := s.NextLetter(ctx); err != nil || ok == want.IsZero() || !due.Equal(want) {
			t.Errorf("%s: want %v, have %v, %v, %v", what, want, due, ok, err)
		}
	}
	next("empty", time.Time{})
	for i, due := range []time.Time{at.Add(2 * time.Hour), at.Add(time.Hour)} {
		if _, err := s.PutLetter(ctx, store.Letter{Purpose: []string{"test/1", "test/2"}[i], Recipient: "a@b.example", MessageID: "m", Message: []byte("text"), Due: due, MadeAt: at}); err != nil {
			t.Fatal(err)
		}
	}
	next("two wait", at.Add(time.Hour))
	now := at.Add(time.Hour)
	l, ok, err := s.ClaimLetter(ctx, "one", now, 10*time.Minute)
	if !ok || err != nil {
		t.Fatal(ok, err)
	}
	next("one is in hand", now.Add(10*time.Minute))
	if _, err := s.EndLetter(ctx, l.ID, "one", store.LetterEnd{State: store.Sent}, now); err != nil {
		t.Fatal(err)
	}
	next("one is sent", at.Add(2*time.Hour))
}
