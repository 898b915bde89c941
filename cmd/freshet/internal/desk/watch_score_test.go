package desk

import (
	"testing"

	"freshet/forecast"
)

// An alert is the same one while its beginning moves a little, and of another
// kind or rule it isn't.
func TestAmong(t *testing.T) {
	day := forecast.NewDate(2026, 3, 2)
	a := Alert{Rule: "run", Kind: "all", Since: day}
	for _, c := range []struct {
		o    Alert
		same bool
	}{{a, true}, {Alert{Rule: "run", Kind: "all", Since: day + 21}, true}, {Alert{Rule: "run", Kind: "all", Since: day - 22}, false},
		{Alert{Rule: "week", Kind: "all", Since: day}, false}, {Alert{Rule: "run", Kind: "cooling", Since: day}, false}} {
		if among(a, []Alert{c.o}) != c.same {
			t.Errorf("%+v: want %v", c.o, c.same)
		}
	}
}
