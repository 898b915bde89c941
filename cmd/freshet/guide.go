package main

import (
	"fmt"
	"io"
	"strings"

	"freshet/report/guide"

	"github.com/spf13/cobra"
)

// guide prints the guides for owners.
func (a *app) guide() *cobra.Command {
	var forecast bool
	c := &cobra.Command{Use: "guide", Short: "How to read the letter, and how the forecast works", Args: cobra.NoArgs,
		Long: `Tells in a few minutes how to read the weekly letter: what its numbers mean, what to
make of a range and of a chance, and what it can't know. With --forecast it tells how
the forecast works, with sources. The pages have both under "How to read this".`,
		Example: `  freshet guide
  freshet guide --forecast`,
		RunE: func(*cobra.Command, []string) error {
			all := guide.All()
			if a.json {
				return a.writeJSON(map[string]any{"schema": 1, "guides": all})
			}
			one := all[0]
			if forecast {
				one = all[1]
			}
			writeGuide(a.out, one)
			return nil
		}}
	c.Flags().BoolVar(&forecast, "forecast", false, "how the forecast works, for the curious")
	return c
}

func writeGuide(w io.Writer, g guide.Text) {
	paragraphs := func(all []string) {
		for _, p := range all {
			fmt.Fprintf(w, "\n%s\n", wrap(p, 80))
		}
	}
	fmt.Fprintln(w, strings.ToUpper(g.Title))
	paragraphs(g.Opening)
	for _, s := range g.Sections {
		fmt.Fprintf(w, "\n%s\n", strings.ToUpper(s.Heading))
		paragraphs(s.Paragraphs)
	}
}

// wrap breaks a text between words so that no line has more letters than most,
// unless a word has.
func wrap(text string, most int) string {
	var b strings.Builder
	n := 0
	for _, word := range strings.Fields(text) {
		l := len([]rune(word))
		switch {
		case n == 0:
		case n+1+l > most:
			b.WriteByte('\n')
			n = 0
		default:
			b.WriteByte(' ')
			n++
		}
		b.WriteString(word)
		n += l
	}
	return b.String()
}
