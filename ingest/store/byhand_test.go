package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
)

// A person's word on a job line stands against files that say what was known
// before it, and gives way to one that says something new; it can be taken
// back, and the history accounts for all of it.
func TestByHand(t *testing.T) {
	ctx := context.Background()
	s := Empty(t)
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	file := func(kind, status string) Batch {
		t.Helper()
		text := "ro_number,dropped_off,kind,quoted_hours,status\n7," + "2026-02-20," + kind + ",2.5," + status + "\n8,2026-02-21,cooling,1,open\n"
		b, err := s.TakeIn(ctx, HandIn{Name: "jobs.csv", File: strings.NewReader(text), Size: int64(len(text)), As: ingest.DropOffs}, 20520, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b.Batch
	}
	file("plumbing", "open")
	const key = "7\tplumbing\t1"
	line := func() JobLine {
		t.Helper()
		l, ok, err := s.JobLine(ctx, key)
		if !ok || err != nil {
			t.Fatal(ok, err)
		}
		return l
	}
	first := line()
	if first.RO != "7" || first.QuotedHours.V != 2.5 || first.DroppedOff != forecast.NewDate(2026, 2, 20) || first.Ready.Valid || first.Before != nil {
		t.Fatalf("have %+v", first)
	}
	say := func(l JobLine, kind, status string) error {
		l.Kind, l.Status = kind, status
		_, err := s.ByHand(ctx, "order 7", ingest.DropOffs, key, &l.Version, &l.DropOff, at)
		return err
	}
	if err := say(first, "electrical", "waiting for parts"); err != nil {
		t.Fatal(err)
	}
	if err := say(first, "cooling", "open"); !errors.Is(err, ErrOther) {
		t.Errorf("over what another person said meanwhile: have %v", err)
	}
	second := line()
	if second.Kind != "electrical" || second.Before == nil || second.Before.Kind != "plumbing" {
		t.Errorf("have %+v", second)
	}
	if err := say(second, "electrical", "promised"); err != nil {
		t.Fatal(err)
	}
	if b := file("plumbing", "open"); b.Unchanged != 2 || line().Status != "promised" {
		t.Errorf("an unchanged row: have %+v and %+v", b, line())
	}
	if _, err := s.Undo(ctx, at); err != nil { // that file
		t.Fatal(err)
	}
	if b, err := s.Undo(ctx, at); err != nil || !b.ByHand || line().Status != "waiting for parts" {
		t.Errorf("undo of the last word: have %+v, %v, %+v", b, err, line())
	}
	if b := file("plumbing", "in work"); b.Updated != 1 || line().Kind != "plumbing" || line().Before != nil {
		t.Errorf("a changed row: have %+v and %+v", b, line())
	}
	if b := file("plumbing", "open"); b.Updated != 1 { // a file had the last word
		t.Errorf("the next changed row: have %+v", b)
	}
	if l, ok, err := s.JobLine(ctx, "no such key"); ok || err != nil {
		t.Errorf("have %+v, %v", l, err)
	}
	checked(t, s)
}

// A job that was taken out stays out, also among so many new rows that they are
// written together.
func TestTakenOutAmongMany(t *testing.T) {
	s, at := Empty(t), time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	const old = "7,2026-02-20,plumbing\n"
	file := func(rows string) Batch {
		t.Helper()
		text := "ro_number,dropped_off,kind\n" + rows
		b, err := s.TakeIn(t.Context(), HandIn{Name: "jobs.csv", File: strings.NewReader(text), Size: int64(len(text)), As: ingest.DropOffs}, 20520, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b.Batch
	}
	file(old)
	if _, err := s.ByHand(t.Context(), "order 7", ingest.DropOffs, "7\tplumbing\t1", nil, nil, at); err != nil {
		t.Fatal(err)
	}
	var rows strings.Builder
	for i := range 2 * together {
		if i == together/2 {
			rows.WriteString(old)
		}
		fmt.Fprintf(&rows, "%d,2026-02-21,plumbing\n", 100+i)
	}
	if b := file(rows.String()); b.Added != 2*together || b.Unchanged != 1 {
		t.Errorf("want %d added and 1 as it was, have %+v", 2*together, b)
	}
	if l, there, err := s.JobLine(t.Context(), "7\tplumbing\t1"); there || err != nil {
		t.Errorf("want it out, have %+v, %v", l, err)
	}
	checked(t, s)
}

// Time off is taken out, stays out when the same file comes again, and can be
// put back, by undo or by a word.
func TestTakenOut(t *testing.T) {
	ctx := context.Background()
	s := Empty(t)
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	file := func(until string) Batch {
		t.Helper()
		text := "name,from,until\nAda,2026-04-01," + until + "\nBo,2026-05-01,2026-05-02\n"
		b, err := s.TakeIn(ctx, HandIn{Name: "off.csv", File: strings.NewReader(text), Size: int64(len(text)), As: ingest.TimeOff}, 20520, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b.Batch
	}
	off := func() (names string) {
		t.Helper()
		all, err := s.Absences(ctx)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range all {
			names += a.Name + " "
		}
		return names
	}
	out := func() int {
		t.Helper()
		all, err := s.TakenOut(ctx, 9)
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	file("2026-04-07")
	ada := ingest.Absence{Name: "Ada", From: forecast.NewDate(2026, 4, 1), Until: forecast.NewDate(2026, 4, 7)}
	hand := func(record ingest.Record) error {
		_, err := s.ByHand(ctx, "Ada's time off", ingest.TimeOff, ada.Key(), nil, record, at)
		return err
	}
	for range 2 { // once for undo, once for a word
		if err := hand(nil); err != nil || off() != "Bo " || out() != 1 {
			t.Fatalf("have %q, %d, %v", off(), out(), err)
		}
		checked(t, s)
		if err := hand(nil); !errors.Is(err, ErrOther) {
			t.Errorf("taken out twice: have %v", err)
		}
		if b := file("2026-04-07"); b.Unchanged != 2 || off() != "Bo " {
			t.Errorf("the same file: have %+v, %q", b, off())
		}
		if _, err := s.Undo(ctx, at); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Undo(ctx, at); err != nil || off() != "Ada Bo " || out() != 0 {
			t.Errorf("undo: have %q, %d, %v", off(), out(), err)
		}
		checked(t, s)
	}
	if err := hand(nil); err != nil {
		t.Fatal(err)
	}
	if err := hand(&ada); err != nil || off() != "Ada Bo " || out() != 0 {
		t.Errorf("put back: have %q, %d, %v", off(), out(), err)
	}
	if err := hand(nil); err != nil {
		t.Fatal(err)
	}
	if b := file("2026-04-09"); b.Added != 1 || off() != "Ada Bo " {
		t.Errorf("a file with another last day: have %+v, %q", b, off())
	}
	checked(t, s)
}
