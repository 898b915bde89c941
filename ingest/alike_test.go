package ingest

import (
	"strings"
	"testing"
)

func TestAlike(t *testing.T) {
	for _, c := range []struct{ a, b, why string }{
		{"A/C unit", "AC Unit", "case, spaces or punctuation"},
		{"AC", "roof air", "usual words for air conditioning"},
		{"Kühlschrank", "fridge", "usual words for refrigerator"},
		{"Electrcal", "Electrical", "spelt alike (1 of 10 letters differ)"},
		{"Body damage left", "damage left", "words in common: damage, left"},
		{"30 amp plug", "50 amp plug", "words in common: amp, plug"},
		{"furnace", "awning", ""},
		{"winterize", "dewinterize", ""}, // two edits apart, and two things
		{"water heater", "heater", ""},
		{"AC", "DC", ""},
		{"awning service", "roof service", ""},
		{"", "roof", ""},
	} {
		why, strength := Alike(c.a, c.b)
		if c.why == "" && why != "" || !strings.Contains(why, c.why) || (strength > 0) != (why != "") || strength > 1 {
			t.Errorf("%q and %q: have %q, %v, need %q", c.a, c.b, why, strength, c.why)
		}
		if back, s := Alike(c.b, c.a); (back != "") != (why != "") || s != strength {
			t.Errorf("%q and %q: %q, %v one way, %q, %v the other", c.a, c.b, why, strength, back, s)
		}
	}
}
