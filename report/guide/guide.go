// Package guide holds two short texts for owners: how to read the weekly
// letter, and how the forecast works.
//
// They are kept as Markdown, so that they can be read where the source is, and
// handed on as plain values, which the command line prints and the pages lay
// out. Their markup is a title, headings and paragraphs, and no more: All
// panics on anything else, which its test rules out.
package guide

import (
	"embed"
	"fmt"
	"strings"
)

// Text is a guide.
type Text struct {
	Name     string // letter or forecast
	Title    string
	Opening  []string // paragraphs before the first section
	Sections []Section
}

// Section is a heading and the paragraphs below it.
type Section struct {
	Heading    string
	Paragraphs []string
}

//go:embed letter.md forecast.md
var files embed.FS

// All gives the guides, the one on the letter first.
func All() []Text {
	var all []Text
	for _, name := range []string{"letter", "forecast"} {
		text, err := files.ReadFile(name + ".md")
		if err != nil {
			panic(err) // it is embedded
		}
		all = append(all, parse(name, string(text)))
	}
	return all
}

// parse reads a title, then headings and paragraphs with an empty line between
// each.
func parse(name, text string) Text {
	t := Text{Name: name}
	for _, block := range strings.Split(strings.TrimSpace(text), "\n\n") {
		block = strings.ReplaceAll(strings.TrimSpace(block), "\n", " ")
		if title, ok := strings.CutPrefix(block, "# "); ok && t.Title == "" {
			t.Title = title
		} else if heading, ok := strings.CutPrefix(block, "## "); ok {
			t.Sections = append(t.Sections, Section{Heading: heading})
		} else if block == "" || strings.ContainsAny(block[:1], "#-*>|`") || t.Title == "" {
			panic(fmt.Sprintf("guide: %s: need a title, headings and paragraphs, have %q", name, block))
		} else if n := len(t.Sections); n == 0 {
			t.Opening = append(t.Opening, block)
		} else {
			t.Sections[n-1].Paragraphs = append(t.Sections[n-1].Paragraphs, block)
		}
	}
	return t
}
