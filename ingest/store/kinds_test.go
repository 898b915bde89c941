package store_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest/store"
)

const roofs = "RO,Date In,Type\n1,2026-02-02,AC\n2,2026-02-03,AC\n3,2026-02-04,roof air\n4,2026-02-05,A/C unit\n5,2026-02-06,Awning\n6,2026-02-09,Awning\n7,2026-02-10,Awning\n"

// grouped writes the groups, and what the desk reads, which must agree.
func grouped(t *testing.T, s *store.Store) string {
	t.Helper()
	kinds, err := s.Kinds(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	jobs := map[string]int{}
	if err := s.Lines(t.Context(), forecast.NewDate(2026, 3, 2), func(l store.Line) { jobs[l.Kind]++ }); err != nil {
		t.Fatal(err)
	}
	waiting, err := s.Open(t.Context(), 0, forecast.NewDate(2026, 3, 2))
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range waiting {
		jobs[j.Kind] += 100
	}
	var out []string
	for _, k := range kinds {
		if jobs[k.Name] != 101*k.Jobs {
			t.Errorf("%s: %d jobs in the list, %d read by the desk", k.Name, k.Jobs, jobs[k.Name])
		}
		var words []string
		for _, w := range k.Words {
			words = append(words, w.Word)
		}
		out = append(out, fmt.Sprintf("%s %d (%s) %s", k.Name, k.Jobs, strings.Join(words, ", "), k.LastSeen))
	}
	return strings.Join(out, "; ")
}

func TestKindsAreGroupedAndBack(t *testing.T) {
	s, ctx := open(t), t.Context()
	take(t, s, roofs)
	var states []string
	step := func(want string, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if got := grouped(t, s); got != want {
			t.Fatalf("have %s\nneed %s", got, want)
		}
		states = append(states, want)
	}
	step("Awning 3 (Awning) 2026-02-10; AC 2 (AC) 2026-02-03; A/C unit 1 (A/C unit) 2026-02-05; roof air 1 (roof air) 2026-02-04", nil)
	step("AC 4 (AC, A/C unit, roof air) 2026-02-05; Awning 3 (Awning) 2026-02-10", s.Merge(ctx, []string{"a/c-unit", "roof air"}, "AC", at))
	step("Cooling 4 (AC, A/C unit, roof air) 2026-02-05; Awning 3 (Awning) 2026-02-10", s.Rename(ctx, "AC", "Cooling", at))
	step("Awning 3 (Awning) 2026-02-10; Cooling 3 (AC, A/C unit) 2026-02-05; roof air 1 (roof air) 2026-02-04", s.Split(ctx, "roof air", at))
	step("Roof 4 (Awning, roof air) 2026-02-10; Cooling 3 (AC, A/C unit) 2026-02-05", s.Merge(ctx, []string{"roof air", "Awning"}, "Roof", at))
	for i := len(states) - 2; i >= 0; i-- {
		if _, err := s.UndoKinds(ctx, at); err != nil {
			t.Fatal(err)
		}
		if got := grouped(t, s); got != states[i] {
			t.Errorf("undone: have %s\nneed %s", got, states[i])
		}
	}
	if _, err := s.UndoKinds(ctx, at); err == nil {
		t.Error("more was undone than done")
	}
	if h, err := s.Check(ctx); err != nil || len(h.Faults) > 0 {
		t.Errorf("records were touched: %v, %v", h.Faults, err)
	}
	if err := s.Merge(ctx, []string{"Brakes"}, "AC", at); !errors.As(err, new(*store.NoKind)) || !strings.Contains(err.Error(), "; there are Awning, AC, A/C unit, roof air") {
		t.Errorf("have %v", err)
	}
	if err := (&store.NoKind{Name: "AC", Have: []string{""}}); !strings.HasSuffix(err.Error(), `have "AC"; there are no kinds yet`) {
		t.Errorf("have %v", err)
	}
	if err := s.Rename(ctx, "AC", "Awning", at); err == nil {
		t.Error("two groups have one name")
	}
}

func TestSuggest(t *testing.T) {
	s := open(t)
	take(t, s, roofs)
	got, err := s.Suggest(t.Context())
	if err != nil || len(got) != 2 {
		t.Fatalf("have %v, %v", got, err)
	}
	for _, g := range got {
		if g.Into != "AC" || !strings.Contains(g.Why, "air conditioning") || g.Jobs != 1 {
			t.Errorf("have %+v", g)
		}
		if err := s.Merge(t.Context(), []string{g.Kind}, g.Into, at); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := s.Suggest(t.Context()); err != nil || len(got) != 0 {
		t.Errorf("have %v, %v", got, err)
	}
}

// A change of kinds is a change: reports are made anew after it.
func TestGroupingIsAChange(t *testing.T) {
	s := open(t)
	if was, err := s.Changed(t.Context()); err != nil || !was.IsZero() {
		t.Errorf("have %v, %v", was, err)
	}
	take(t, s, roofs)
	later := at.Add(time.Hour)
	if err := s.Rename(t.Context(), "AC", "Cooling", later); err != nil {
		t.Fatal(err)
	}
	if now, err := s.Changed(t.Context()); err != nil || !now.Equal(later) {
		t.Errorf("have %v, %v, need %v", now, err, later)
	}
}

// A database of a freshet that had later tables, but not these, gets them.
func TestKindsComeLate(t *testing.T) {
	store.OfAFile(t)
	s := open(t)
	take(t, s, roofs)
	db := raw(t, s)
	for _, q := range []string{"DROP TABLE kind_undos", "DROP TABLE kind_words", "DROP TABLE kind_steps", "DELETE FROM goose_db_version WHERE version_id = 3"} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	s.Close()
	again, err := store.Open(t.Context(), s.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if err := again.Rename(t.Context(), "AC", "Cooling", at); err != nil {
		t.Error(err)
	}
}

// A skill is a kind, and follows it into its group.
func TestSkillsAreGrouped(t *testing.T) {
	s := open(t)
	take(t, s, roofs)
	if _, err := s.TakeIn(t.Context(), handIn("name,weekly_hours,skills\nAnsel,40,AC;roof air;Awning\n"), handInLatest, at, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.Merge(t.Context(), []string{"AC", "roof air"}, "Cooling", at); err != nil {
		t.Fatal(err)
	}
	crew, err := s.Crew(t.Context())
	if err != nil || len(crew) != 1 || strings.Join(crew[0].Skills, ";") != "Cooling;Awning" {
		t.Errorf("have %+v, %v", crew, err)
	}
}
