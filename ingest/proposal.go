package ingest

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// A Proposal says of one column of a file what it holds, or may hold, for a
// person to confirm.
type Proposal struct {
	Header     string   `json:"header"`
	Field      string   `json:"field"`      // "" if it is left alone
	Guessed    bool     `json:"guessed"`    // Field counts for nothing until a person says so
	Confidence float64  `json:"confidence"` // 0 to 1; a rank among guesses, not a chance
	Why        string   `json:"why"`
	Samples    []string `json:"samples"` // up to three of its cells that differ
}

const samplesShown = 3

// Proposals explains the layout column by column. A column that it leaves
// alone carries its best guess. sample is as of [Propose].
func (l Layout) Proposals(sample [][]string) []Proposal {
	dict := dictionaries()[l.Kind]
	out := make([]Proposal, len(l.Columns))
	for i, c := range l.Columns {
		p := Proposal{Header: c.Header, Field: c.Field, Samples: []string{}}
		for _, cell := range column(sample, i) {
			if cell != "" && len(p.Samples) < samplesShown && !slices.Contains(p.Samples, cell) {
				p.Samples = append(p.Samples, cell)
			}
		}
		folded := Fold(c.Header)
		g := slices.IndexFunc(l.Guesses, func(g Guess) bool { return g.Header == c.Header })
		switch {
		case c.Field != "" && dict.field[folded] == c.Field && dict.exact[folded]:
			p.Confidence, p.Why = 1, "it is the field's own name"
		case c.Field != "" && dict.field[folded] == c.Field:
			p.Confidence, p.Why = 1, "it is a usual name for it"
		case c.Field != "":
			p.Confidence, p.Why = 1, "it was said so"
		case g >= 0:
			p.Field, p.Guessed, p.Confidence, p.Why = l.Guesses[g].Field, true, (1-l.Guesses[g].Distance)*guessWorth, l.Guesses[g].Why
		case priced(column(sample, i)) || inMoney(c.Header):
			p.Why = "its cells are amounts of money, which are not needed"
		case dict.field[folded] != "" && l.holds(dict.field[folded]):
			p.Why = "another column holds what this name stands for"
		case dict.field[folded] != "":
			p.Why = "it was said so"
		default:
			p.Why = "nothing is known by this name"
		}
		out[i] = p
	}
	return out
}

// guessWorth keeps the best of guesses below what is known.
const guessWorth = 0.9

// telltales know cells by their looks, for needed fields that no name brings.
var telltales = map[string]struct {
	says string // reads on after "each of its first 20 cells"
	fits func(cells []string) bool
}{
	"dropped_off": {"holds a day", func(cells []string) bool {
		return !slices.ContainsFunc(cells, func(s string) bool { return !looksLikeDay(s) })
	}},
	"ro_number": {"holds another text, and none holds a day", func(cells []string) bool {
		return !slices.ContainsFunc(cells, looksLikeDay) && len(slices.Compact(slices.Sorted(slices.Values(cells)))) == len(cells)
	}},
}

// looksLikeDay tells whether a cell is a date and not a bare number.
func looksLikeDay(s string) bool {
	_, ok := parseDate([]byte(s))
	return ok && strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsDigit(r) })
}

// fewestTelling is how many cells tell what their column holds.
const fewestTelling = 3

// telling gives guesses by the cells, as a last resort: for needed fields that
// no name brings, of columns that no name explains. Of several columns it
// takes the leftmost: exports put numbers and days first (common practice, no
// source).
func (l *Layout) telling(sample [][]string) []Guess {
	var guesses []Guess
	for _, name := range l.Missing() {
		t, ok := telltales[name]
		if !ok || slices.ContainsFunc(l.Guesses, func(g Guess) bool { return g.Field == name }) {
			continue
		}
		for i, c := range l.Columns {
			cells := column(sample, i)
			if c.Field == "" && len(cells) >= fewestTelling && !slices.Contains(cells, "") && !priced(cells) && t.fits(cells) &&
				!slices.ContainsFunc(l.Guesses, func(g Guess) bool { return g.Header == c.Header }) {
				guesses = append(guesses, Guess{c.Header, name, farthestGuess, fmt.Sprintf("each of its first %d cells %s", len(cells), t.says)})
				break
			}
		}
	}
	return guesses
}
