package main

import (
	"strings"
	"testing"

	"freshet/report/guide"
)

func TestGuide(t *testing.T) {
	for flag, g := range map[string]guide.Text{"--forecast=false": guide.All()[0], "--forecast": guide.All()[1]} {
		status, out, errs := call(t, "guide", flag)
		if status != done || !strings.HasPrefix(out, strings.ToUpper(g.Title)+"\n\n") {
			t.Fatalf("%s: have %d %.100s %s", flag, status, out, errs)
		}
		if have, want := strings.Fields(out), len(strings.Fields(g.Title+" "+strings.Join(g.Opening, " "))); len(have) < 10*want/2 {
			t.Errorf("%s: only %d words are printed", flag, len(have))
		}
		for _, s := range g.Sections {
			if !strings.Contains(out, "\n"+strings.ToUpper(s.Heading)+"\n\n") || !strings.Contains(strings.Join(strings.Fields(out), " "), strings.Join(s.Paragraphs, " ")) {
				t.Errorf("%s: %q isn't printed whole", flag, s.Heading)
			}
		}
		for line := range strings.Lines(out) {
			if len([]rune(strings.TrimRight(line, "\n"))) > 80 {
				t.Errorf("%s: a line is longer than 80 letters: %s", flag, line)
			}
		}
	}
}

func TestWrap(t *testing.T) {
	for text, want := range map[string]string{"": "", "a": "a", "ab cd": "ab cd", "ab cde": "ab\ncde", "abcdefgh i": "abcdefgh\ni", "é é é é": "é é é\né"} {
		if have := wrap(text, 5); have != want {
			t.Errorf("%q: want %q, have %q", text, want, have)
		}
	}
}
