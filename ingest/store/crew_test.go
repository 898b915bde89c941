package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
)

// A person is changed by hand, and taken off the crew; a first day that moves
// takes the spell along, and undo brings all of it back.
func TestCrewByHand(t *testing.T) {
	ctx, s := t.Context(), Empty(t)
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	const text = "name,weekly_hours,skills,from\nOda,40,all,\nPell,32,plumbing,2026-02-01\n"
	file := func() Batch {
		t.Helper()
		b, err := s.TakeIn(ctx, HandIn{Name: "crew.csv", File: strings.NewReader(text), Size: int64(len(text)), As: ingest.Crew}, 20520, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b.Batch
	}
	names := func() (out string) {
		t.Helper()
		crew, err := s.Crew(ctx)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range crew {
			out += p.Key() + " "
		}
		return out
	}
	file()
	oda, ok, err := s.CrewSpell(ctx, "oda\t")
	if !ok || err != nil || oda.Name != "Oda" || oda.WeeklyHours != 40 || oda.Skills != nil || oda.Before != nil {
		t.Fatalf("have %+v, %v, %v", oda, ok, err)
	}
	if _, ok, err := s.CrewSpell(ctx, "nobody\t"); ok || err != nil {
		t.Errorf("have %v, %v", ok, err)
	}
	hand := func(m CrewSpell, p *ingest.Person) error {
		var record ingest.Record
		if p != nil {
			record = p
		}
		_, err := s.ByHand(ctx, "Oda on the crew", ingest.Crew, m.Key, &m.Version, record, at)
		checked(t, s)
		return err
	}
	to := oda.Person
	to.Skills, to.Productivity = []string{"gas"}, ingest.Opt[float64]{V: .8, Valid: true}
	if err := hand(oda, &to); err != nil {
		t.Fatal(err)
	}
	if err := hand(oda, nil); !errors.Is(err, ErrOther) {
		t.Errorf("over a later word: have %v", err)
	}
	if oda, _, err = s.CrewSpell(ctx, "oda\t"); err != nil || oda.Before == nil || oda.Before.Skills != nil || oda.Skills[0] != "gas" {
		t.Errorf("have %+v, %v", oda, err)
	}
	to.From = ingest.Opt[forecast.Date]{V: 20550, Valid: true} // April 7, 2026
	if err := hand(oda, &to); err != nil || names() != "oda\t2026-04-07 pell\t2026-02-01 " {
		t.Errorf("moved: have %q, %v", names(), err)
	}
	if b := file(); b.Unchanged != 2 || !strings.HasPrefix(names(), "oda\t2026-04-07 pell") {
		t.Errorf("the same file: have %+v, %q", b, names())
	}
	if gone, err := s.OffCrew(ctx, 9); err != nil || len(gone) != 0 {
		t.Errorf("have %v, %v", gone, err)
	}
	if _, err := s.Undo(ctx, at); err != nil { // that file
		t.Fatal(err)
	}
	if _, err := s.Undo(ctx, at); err != nil || names() != "oda\t pell\t2026-02-01 " {
		t.Errorf("undone: have %q, %v", names(), err)
	}
	checked(t, s)
	to.Name = "PELL"
	to.From = ingest.Opt[forecast.Date]{V: 20485, Valid: true} // where Pell's spell stands
	if err := hand(oda, &to); !errors.Is(err, ErrThere) {
		t.Errorf("to a place that is taken: have %v", err)
	}
	if err := hand(oda, nil); err != nil || names() != "pell\t2026-02-01 " {
		t.Errorf("taken off: have %q, %v", names(), err)
	}
	if gone, err := s.OffCrew(ctx, 9); err != nil || len(gone) != 1 || gone[0].Name != "Oda" || gone[0].Skills[0] != "gas" {
		t.Errorf("have %v, %v", gone, err)
	}
}
