package store

import (
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/ingest"
)

// Skills however they are written, against a shop with the kinds Electrical,
// Fridge, Roof A/C and Slide-out, into which Fridge's other word, Refer, was
// merged.
func TestSkills(t *testing.T) {
	ctx, s := t.Context(), Empty(t)
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	takeIn := func(name string, kind ingest.RowKind, text string) Taken {
		t.Helper()
		b, err := s.TakeIn(ctx, HandIn{Name: name, File: strings.NewReader(text), Size: int64(len(text)), As: kind}, 20520, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	takeIn("jobs.csv", ingest.DropOffs, "ro_number;dropped_off;kind\n1;2026-02-20;Electrical\n2;2026-02-20;Fridge\n3;2026-02-20;Roof A/C\n4;2026-02-21;Slide-out\n5;2026-02-21;Refer\n6;2026-02-21;Doors, locks\n")
	if err := s.Merge(ctx, []string{"Refer"}, "Fridge", at); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ written, want, doubts string }{
		{"Electrical,Fridge,Roof A/C", "Electrical|Fridge|Roof A/C", ""},
		{"ELECTRICAL / roof ac / Refer", "Electrical|Roof A/C|Fridge", ""},
		{"\"Roof A/C;Doors, locks\"", "Roof A/C|Doors, locks", ""},
		{"\"Electrical\nSlide-out\"", "Electrical|Slide-out", ""},
		{"all", "", ""},
		{"Electrical, all", "Electrical|all", ""},
		{"Slidout, Fridge", "Slidout|Fridge", "Oda's skill “Slidout” is no kind of work in the records, and counts for nothing: is it “Slide-out”?"},
		{"Fridge/Hull/Mast", "Fridge|Hull/Mast", "Oda's skill “Hull/Mast” is no kind of work in the records, and counts for nothing."},
		{"Masts", "Masts", "Oda's skill “Masts” is no kind of work in the records, and counts for nothing.\nNone of Oda's skills is a kind of work in the records, so that the plan gives Oda no work at all."},
	} {
		b := takeIn("crew.csv", ingest.Crew, "name;weekly_hours;skills\nOda;40;"+c.written+"\n")
		crew, err := s.Crew(ctx)
		if have := strings.Join(crew[0].Skills, "|"); err != nil || have != c.want {
			t.Errorf("%q: want %s, have %s, %v", c.written, c.want, have, err)
		}
		if have := strings.Join(b.Doubts, "\n"); have != c.doubts {
			t.Errorf("%q: want %q, have %q", c.written, c.doubts, have)
		}
	}
	takeIn("crew.csv", ingest.Crew, "name;weekly_hours;until\nOda;40;\nBob;40;2026-01-01\n")
	b := takeIn("off.csv", ingest.TimeOff, "name;from;until\nODA;2026-04-01;\nBubba;2026-04-01;2026-04-02\nBob2;2026-05-01;\nBob2;2026-06-01;\nGone;2025-05-01;\nshop;2026-07-03;\n")
	if want := []string{"Time off of “Bubba”, from April 1, 2026 on, changes no hours: nobody of that name is on the crew: Bob, Oda.",
		"Time off of “Bob2”, from May 1, 2026 on, changes no hours: nobody of that name is on the crew: is it “Bob”?"}; !slices.Equal(b.Doubts, want) {
		t.Errorf("want %q, have %q", want, b.Doubts)
	}
}
