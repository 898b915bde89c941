package guide

import (
	"os"
	"strings"
	"testing"
)

// Everything that stands in the files comes out, in short plain sentences.
func TestAll(t *testing.T) {
	all := All()
	if len(all) != 2 {
		t.Fatalf("want 2 guides, have %d", len(all))
	}
	for _, g := range all {
		text, err := os.ReadFile(g.Name + ".md")
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		b.WriteString("# " + g.Title + "\n")
		write := func(paragraphs []string) {
			for _, p := range paragraphs {
				b.WriteString("\n" + p + "\n")
				for _, sentence := range strings.Split(p, ". ") {
					if n := len(strings.Fields(sentence)); n > 45 {
						t.Errorf("%s: a sentence has %d words: %s", g.Name, n, sentence)
					}
				}
			}
		}
		write(g.Opening)
		for _, s := range g.Sections {
			b.WriteString("\n## " + s.Heading + "\n")
			if len(s.Paragraphs) == 0 {
				t.Errorf("%s: nothing stands under %q", g.Name, s.Heading)
			}
			write(s.Paragraphs)
		}
		if b.String() != string(text) {
			t.Errorf("%s: want\n%s\nhave\n%s", g.Name, text, b.String())
		}
	}
	for _, jargon := range []string{"quantile", "MASE", "backlog", "stochastic", "p80", "percentile", "algorithm"} {
		for _, s := range all[0].Sections {
			if strings.Contains(strings.Join(s.Paragraphs, " "), jargon) {
				t.Errorf("the guide to the letter speaks of %q", jargon)
			}
		}
	}
}

func TestParseRefusesOtherMarkup(t *testing.T) {
	for _, text := range []string{"no title", "# A\n\n- a list", "# A\n\n> said", "# A\n\n# B", "# A\n\n```\ncode\n```"} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("want %q refused", text)
				}
			}()
			parse("x", text)
		}()
	}
}
