package weekly

import "testing"

// A schedule of one day and time can be said and typed; others stay as they are.
func TestSlot(t *testing.T) {
	for text, want := range map[string]string{Usual: "Mondays at 06:00", "30 17 * * 4": "Thursdays at 17:30", " 5  0 * * 7 ": "", "0 6 * * 1-5": "", "*/5 * * * *": "", "": ""} {
		s, ok := ReadSlot(text)
		if ok != (want != "") || ok && (s.String() != want || s.Schedule() != text) {
			t.Errorf("%q: want %q, have %v, %v, %q", text, want, ok, s, s.Schedule())
		}
	}
	if s := (Slot{Day: 1, Time: "soon"}).Schedule(); s != "" {
		t.Errorf("have %q", s)
	}
}
