package store_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// The totals follow rows that are added, moved to another week or kind, and
// taken back; healthy sets them against a count of all records.
func TestWeekly(t *testing.T) {
	s := open(t)
	const header = "ro_number,line,dropped_off,kind\n"
	const tires = "2026-01-05 tires 3 2026-01-05 2026-01-11"
	totals := func() string {
		rows, err := raw(t, s).Query("SELECT monday || ' ' || kind || ' ' || lines || ' ' || first || ' ' || last FROM weekly ORDER BY monday, kind")
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		var all []string
		for rows.Next() {
			var one string
			if err := rows.Scan(&one); err != nil {
				t.Fatal(err)
			}
			all = append(all, one)
		}
		return strings.Join(all, "\n")
	}
	for _, step := range []struct{ rows, want string }{
		{"5,A,2026-01-07,tires\n", "2026-01-05 tires 1 2026-01-07 2026-01-07"},
		{"6,A,2026-01-05,tires\n7,A,2026-01-11,tires\n", tires},
		{"1,A,2026-02-02,roof\n2,A,2026-02-08,roof\n", tires + "\n" + "2026-02-02 roof 2 2026-02-02 2026-02-08"}, // a Monday, and the Sunday of its week
		{"2,A,2026-02-09,roof\n", tires + "\n" + "2026-02-02 roof 1 2026-02-02 2026-02-02\n2026-02-09 roof 1 2026-02-09 2026-02-09"},
		{"1,A,2026-02-02,brakes\n1,A,2026-02-03,brakes\n", tires + "\n" + "2026-02-02 brakes 1 2026-02-03 2026-02-03\n2026-02-09 roof 1 2026-02-09 2026-02-09"},
	} {
		take(t, s, header+step.rows)
		if have := totals(); have != step.want {
			t.Errorf("%swant\n%s\nhave\n%s", step.rows, step.want, have)
		}
		healthy(t, s)
	}
	if _, err := s.Undo(context.Background(), at); err != nil {
		t.Fatal(err)
	}
	healthy(t, s)
	if kinds, err := s.Kinds(context.Background()); err != nil || len(kinds) != 2 || kinds[1].Jobs != 2 || kinds[1].LastSeen != "2026-02-09" {
		t.Errorf("want two jobs of roofs, have %+v, %v", kinds, err)
	}
	var many strings.Builder // more kinds than are added up at a time, and at last a line that is moved
	many.WriteString(header)
	for i := range 5_000 {
		fmt.Fprintf(&many, "%d,A,2026-02-%02d,kind %d\n", i+10, 16+i%7, i)
	}
	take(t, s, many.String()+"10,A,2026-02-24,kind 0\n11,B,2026-02-16,kind 1\n11,B,2026-02-16,kind 2\n")
	if n := strings.Count(totals(), "\n2026-02-16 "); n != 4_999 || !strings.Contains(totals(), "2026-02-16 kind 2 2 2026-02-16 2026-02-18\n") {
		t.Errorf("want 4,999 kinds in the week of February 16, and two lines of kind 2, have %d of %d\n%.300s", n, strings.Count(totals(), "\n"), totals())
	}
	healthy(t, s)
	take(t, s, header+"20000,A,2026-01-13,tires\n20000,A,2026-01-20,tires\n") // within one file
	if have := totals(); strings.Contains(have, "2026-01-12") || !strings.Contains(have, "\n2026-01-19 tires 1 2026-01-20 2026-01-20\n") {
		t.Errorf("want a line that was moved in its file counted in its last week, have\n%.300s", have)
	}
	healthy(t, s)
	if _, err := raw(t, s).Exec("UPDATE weekly SET lines = 3 WHERE monday = '2026-02-09'"); err != nil {
		t.Fatal(err)
	}
	h, err := s.Check(context.Background())
	if err != nil || len(h.Faults) != 1 || !strings.Contains(h.Faults[0], "2026-02-09") {
		t.Errorf("want the week of February 9 to be found wrong, have %v, %v", h.Faults, err)
	}
}
