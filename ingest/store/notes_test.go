package store

import (
	"bytes"
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
)

var storm = AlertNote{Alert: "run-2026-08-03", Rule: "run", Kind: "AC", Above: true, Began: forecast.NewDate(2026, 8, 3), Because: " =storm ", OneTime: true,
	From: forecast.NewDate(2026, 8, 3), Until: forecast.NewDate(2026, 8, 30), On: forecast.NewDate(2026, 8, 31), Who: "owner", At: time.Date(2026, 8, 31, 15, 0, 0, 0, time.UTC)}

// A note counts from its day on, can be taken back, and stays on record.
func TestNotes(t *testing.T) {
	s, ctx := Empty(t), context.Background()
	seen := storm
	seen.Because, seen.OneTime, seen.At = "", false, storm.At.Add(-time.Minute)
	for _, n := range []AlertNote{seen, storm} {
		if err := s.KeepNote(ctx, n); err != nil {
			t.Fatal(err)
		}
	}
	if notes, err := s.Notes(ctx, storm.On-1); err != nil || len(notes) != 0 {
		t.Errorf("the day before: %v, %v", notes, err)
	}
	want := storm
	want.Because = "=storm"
	if notes, err := s.Notes(ctx, storm.On); err != nil || len(notes) != 2 || notes[0] != seen || notes[1] != want {
		t.Errorf("have %+v, %v", notes, err)
	}
	later := storm.At.Add(time.Hour)
	for _, because := range []string{"=storm", ""} { // the newest first
		if have, err := s.TakeNoteBack(ctx, storm.Alert, "counter", later); err != nil || have != because {
			t.Errorf("want %q taken back, have %q, %v", because, have, err)
		}
	}
	if _, err := s.TakeNoteBack(ctx, storm.Alert, "owner", later); !errors.As(err, new(*NoNote)) {
		t.Errorf("want no more to take back, have %v", err)
	}
	if notes, err := s.Notes(ctx, storm.On); err != nil || len(notes) != 0 {
		t.Errorf("after all was taken back: %v, %v", notes, err)
	}
	var b bytes.Buffer
	if n, err := s.ExportNotes(ctx, &b); err != nil || n != 2 ||
		!strings.HasSuffix(b.String(), "run-2026-08-03,run,AC,,more,2026-08-03,2026-08-03,2026-08-30,'=storm,yes,2026-08-31,owner,2026-08-31T15:00:00Z,counter,2026-08-31T16:00:00Z\n") {
		t.Errorf("%d rows, %v:\n%s", n, err, &b)
	}
	for _, q := range []string{"UPDATE notes SET because = ''", "DELETE FROM notes", "UPDATE note_undos SET who = ''", "DELETE FROM note_undos"} {
		if _, err := s.w.Exec(q); err == nil {
			t.Errorf("%s: want a refusal", q)
		}
	}
}

func TestNotesThatSayNothing(t *testing.T) {
	s := Empty(t)
	for name, change := range map[string]func(*AlertNote){
		"no alert":            func(n *AlertNote) { n.Alert = "" },
		"nobody":              func(n *AlertNote) { n.Who = "" },
		"two lines":           func(n *AlertNote) { n.Because = "a\nb" },
		"a page of it":        func(n *AlertNote) { n.Because = strings.Repeat("é", mostBecause+1) },
		"one-time for nought": func(n *AlertNote) { n.Because = " " },
		"backwards":           func(n *AlertNote) { n.Until = n.From - 1 },
	} {
		n := storm
		change(&n)
		if err := s.KeepNote(context.Background(), n); err == nil || !strings.Contains(err.Error(), "need") {
			t.Errorf("%s: have %v", name, err)
		}
	}
}

// A note follows its kind into a group, and a note that was changed behind the
// store's back is found, in a backup too.
func TestNotesAreWatched(t *testing.T) {
	s, ctx := Empty(t), context.Background()
	if err := s.KeepNote(ctx, storm); err != nil {
		t.Fatal(err)
	}
	if err := s.step(ctx, "rename", []string{"AC"}, func(string) string { return "Cooling" }, storm.At); err != nil {
		t.Fatal(err)
	}
	if notes, err := s.Notes(ctx, storm.On); err != nil || notes[0].Kind != "Cooling" {
		t.Errorf("have %+v, %v", notes, err)
	}
	if h, err := s.Check(ctx); err != nil || h.Notes != 1 || len(h.Faults) != 0 {
		t.Fatalf("have %+v, %v", h, err)
	}
	path := filepath.Join(t.TempDir(), "copy.db")
	if h, err := s.Backup(ctx, path, storm.At); s.group == nil && (err != nil || h.Notes != 1 || len(h.Faults) != 0) {
		t.Fatalf("have %+v, %v", h, err)
	}
	Unguarded(t, s, "notes")
	if _, err := s.w.Exec("UPDATE notes SET until = '2026-09-30'"); err != nil {
		t.Fatal(err)
	}
	if h, err := s.Check(ctx); err != nil || len(h.Faults) != 1 || !strings.Contains(h.Faults[0], "run-2026-08-03") {
		t.Errorf("have %+v, %v", h, err)
	}
	if _, err := s.Backup(ctx, path, storm.At); err == nil {
		t.Error("a damaged note was backed up over a sound one")
	}
}
