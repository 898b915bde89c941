package store

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// 10,000 guesses within an hour from 50 addresses: at most 100 are looked at;
// an address that hasn't failed is still let in at once, and the count survives
// a restart.
func TestGuessing(t *testing.T) {
	s, ctx := Empty(t), context.Background()
	now := time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
	looked := 0
	for i := range 10000 {
		wait, err := s.Guess(ctx, fmt.Sprintf("127.0.0.%d", 2+i%50), now)
		if err != nil {
			t.Fatal(err)
		}
		if wait == 0 {
			looked++
		}
		now = now.Add(360 * time.Millisecond)
	}
	if looked > 100 || looked < 50 {
		t.Errorf("want 50 to 100 guesses looked at, have %d", looked)
	}
	again, err := Open(ctx, s.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if wait, err := again.Guess(ctx, "127.0.0.2", now); wait == 0 || err != nil {
		t.Errorf("want the count to survive a restart, have %v, %v", wait, err)
	}
	if wait, err := again.Guess(ctx, "127.0.0.99", now); wait != 0 || err != nil {
		t.Errorf("want an address without a failure let in at once, have %v, %v", wait, err)
	}
	if wait, err := again.Guess(ctx, "127.0.0.2", now.Add(2*time.Hour)); wait != 0 || err != nil {
		t.Errorf("want it forgotten after an hour, have %v, %v", wait, err)
	}
}

// Someone who mistypes has five tries, then waits a second, two, four; the
// right passphrase clears the count.
func TestMistyping(t *testing.T) {
	s, ctx := Empty(t), context.Background()
	now := time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
	for range freeGuesses {
		if wait, err := s.Guess(ctx, "here", now); wait != 0 || err != nil {
			t.Fatal(wait, err)
		}
	}
	for _, want := range []time.Duration{time.Second, 2 * time.Second, 4 * time.Second} {
		if wait, _ := s.Guess(ctx, "here", now); wait != want {
			t.Errorf("want to wait %v, have %v", want, wait)
		}
		now = now.Add(want)
		if wait, _ := s.Guess(ctx, "here", now); wait != 0 {
			t.Errorf("want a try after the wait, have %v more", wait)
		}
	}
	if err := s.Guessed(ctx, "here"); err != nil {
		t.Fatal(err)
	}
	if wait, _ := s.Guess(ctx, "here", now); wait != 0 {
		t.Errorf("want no wait after the right one, have %v", wait)
	}
}

// Wrong guesses that were counted by a clock which was ahead, and was set right
// since, lock nobody out.
func TestGuessingByAWrongClock(t *testing.T) {
	s, ctx := Empty(t), context.Background()
	now := time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
	for range freeGuesses {
		if wait, err := s.Guess(ctx, "here", now.AddDate(1, 0, 0)); wait != 0 || err != nil {
			t.Fatalf("want free guesses, have %v, %v", wait, err)
		}
	}
	if wait, err := s.Guess(ctx, "here", now); wait != 0 || err != nil {
		t.Errorf("want no wait for next year, have %v, %v", wait, err)
	}
}

// What the browser holds is nowhere in the database's files.
func TestSessions(t *testing.T) {
	s := Empty(t)
	const token = "a-token-that-only-the-browser-knows"
	kept := s.Sessions()
	if err := kept.Commit(token, []byte("owner"), time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if data, ok, err := kept.Find(token); string(data) != "owner" || !ok || err != nil {
		t.Errorf("have %q, %v, %v", data, ok, err)
	}
	OfAFile(t)
	files, err := filepath.Glob(s.Path() + "*")
	if err != nil || len(files) < 2 {
		t.Fatal("need the database and its log, have ", files, err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(b, []byte(token)) {
			t.Errorf("%s holds the token", filepath.Base(f))
		}
	}
	if err := kept.Delete(token); err != nil {
		t.Fatal(err)
	}
	if _, ok, _ := kept.Find(token); ok {
		t.Error("a forgotten token is found")
	}
	kept.Commit(token, []byte("owner"), time.Now().Add(-time.Second))
	if _, ok, _ := kept.Find(token); ok {
		t.Error("a session whose time is over is found")
	}
}

// While a file is being taken in, a page that only puts off its session's end
// doesn't wait for it; a new session does, and is kept.
func TestSessionDuringImport(t *testing.T) {
	s := Empty(t)
	kept := s.Sessions()
	now := time.Now()
	if err := kept.Commit("one", []byte("owner"), now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	begun, goOn, done := make(chan bool), make(chan bool), make(chan error)
	go func() {
		_, err := importJobs(s, &jobs{n: 1, each: func(int) { close(begun); <-goOn }})
		done <- err
	}()
	<-begun
	put := make(chan error, 1)
	go func() { put <- kept.Commit("one", []byte("owner"), now.Add(2*time.Hour)) }()
	select {
	case err := <-put:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(10 * time.Second):
		t.Error("a known session waits for the import")
	}
	go func() { put <- kept.Commit("two", []byte("owner"), now.Add(time.Hour)) }()
	close(goOn)
	if err := <-done; err != nil {
		t.Error(err)
	}
	if err := <-put; err != nil {
		t.Error(err)
	}
	if _, ok, err := kept.Find("two"); !ok || err != nil {
		t.Errorf("the new session: have %v, %v", ok, err)
	}
}

func TestChangesStay(t *testing.T) {
	s, ctx := Empty(t), context.Background()
	at := time.Date(2026, 11, 23, 9, 0, 0, 0, time.UTC)
	if err := s.Note(ctx, Change{at, "owner", "named the shop"}); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{"UPDATE changes SET who = 'nobody'", "DELETE FROM changes"} {
		if _, err := s.w.Exec(q); err == nil {
			t.Errorf("%s: want a refusal", q)
		}
	}
	if have, err := s.Changes(ctx, 9); err != nil || len(have) != 1 || have[0] != (Change{at, "owner", "named the shop"}) {
		t.Errorf("have %v, %v", have, err)
	}
}
