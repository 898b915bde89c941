package ingest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"github.com/agnivade/levenshtein"
)

// A Guess is a header that resembles a field's name, or one of several that
// stand for the same field. It counts for nothing until it is accepted.
type Guess struct {
	Header, Field string
	Distance      float64 // 0 (a known name) to 0.5: edits as a share of the longer name's length, or the farthest for weaker reasons
	Why           string  // in words
}

const (
	farthestGuess = 0.5
	farthestText  = 0.45 // for fields that take any text: their cells don't bear a guess out
)

// Propose maps headers to the fields of a kind of rows. A field's own name
// comes first, then its synonyms; both are taken without asking, unless
// several headers claim one field alike. What is left is compared by edit
// distance (Levenshtein 1966), and by its last word, and becomes guesses, as far
// as most of the sample's cells below the header can be read as the field. The sample, rows
// of cells, may be empty. It panics if there is no such kind of rows.
func Propose(headers []string, sample [][]string, kind RowKind) Layout {
	dict, ok := dictionaries()[kind]
	if !ok {
		panic(fmt.Sprintf("ingest: no rows of kind %q", kind))
	}
	l := Layout{Kind: kind, Columns: make([]Column, len(headers))}
	claims := map[string][]int{} // field to the columns that claim it
	for i, h := range headers {
		l.Columns[i].Header = h
		f := Fold(h)
		name := dict.field[f]
		if name == "" {
			continue
		}
		if fd, _ := kind.field(name); !fd.money && (priced(column(sample, i)) || inMoney(h)) {
			continue // "Labor" may hold dollars
		}
		if rivals := claims[name]; len(rivals) == 0 || dict.exact[f] == dict.exact[Fold(headers[rivals[0]])] {
			claims[name] = append(rivals, i)
		} else if dict.exact[f] {
			claims[name] = []int{i}
		}
	}
	for name, columns := range claims {
		if len(columns) == 1 {
			l.Columns[columns[0]].Field = name
			continue
		}
		for _, i := range columns {
			l.Guesses = append(l.Guesses, Guess{headers[i], name, 0, "it is a usual name for it, as another column's is"})
		}
	}
	for i, c := range l.Columns {
		if c.Field == "" && dict.field[Fold(c.Header)] == "" {
			l.Guesses = append(l.Guesses, l.resembling(i, dict, sample)...)
		}
	}
	l.Guesses = append(l.Guesses, l.telling(sample)...)
	slices.SortStableFunc(l.Guesses, func(a, b Guess) int {
		return cmp.Or(cmp.Compare(a.Distance, b.Distance), cmp.Compare(l.column(a.Header), l.column(b.Header)), cmp.Compare(a.Field, b.Field))
	})
	return l
}

// resembling gives the fields without a column whose names resemble that of
// column i.
func (l *Layout) resembling(i int, dict dictionary, sample [][]string) []Guess {
	folded := Fold(l.Columns[i].Header)
	nearest := map[string]Guess{}
	consider := func(g Guess) {
		old, ok := nearest[g.Field]
		if g.Distance <= farthestGuess && !l.holds(g.Field) && (!ok || g.Distance < old.Distance || g.Distance == old.Distance && g.Why < old.Why) {
			nearest[g.Field] = g
		}
	}
	for known, name := range dict.field {
		longer := max(len([]rune(folded)), len([]rune(known)))
		d := float64(levenshtein.ComputeDistance(folded, known)) / float64(longer)
		consider(Guess{l.Columns[i].Header, name, d, fmt.Sprintf("it is spelt much like %q", dict.written[known])})
	}
	// "Product category" is a category, in the languages that put it last.
	if parts := strings.FieldsFunc(l.Columns[i].Header, func(r rune) bool { return !unicode.IsLetter(r) }); len(parts) > 1 {
		last := parts[len(parts)-1]
		if name := dict.field[Fold(last)]; name != "" {
			consider(Guess{l.Columns[i].Header, name, farthestText, fmt.Sprintf("its last word, %q, is a usual name for it", last)})
		}
	}
	var guesses []Guess
	for name, g := range nearest {
		f, _ := l.Kind.field(name)
		if cells := column(sample, i); f.reads(cells, l.Kind) && (f.money || !inMoney(l.Columns[i].Header)) &&
			(g.Distance <= farthestText || !f.reads([]string{"text"}, l.Kind)) && looksRight(name, cells) {
			guesses = append(guesses, g)
		}
	}
	return guesses
}

// inMoney tells whether a header says that its column is one of money.
func inMoney(header string) bool {
	return strings.ContainsFunc(header, func(r rune) bool { return unicode.Is(unicode.Sc, r) })
}

// looksRight tells whether cells look like the field, of those that any text
// can be read as: a guess of such a field would be borne out by anything.
func looksRight(name string, cells []string) bool {
	switch name {
	case "line": // a short count: amounts in its place would double the jobs of files that overlap
		return numbered(cells) && !slices.ContainsFunc(cells, func(s string) bool { return len(s) > 4 || strings.ContainsAny(s, ".,") })
	case "comeback_of":
		return numbered(cells)
	case "kind":
		return len(cells) == 0 || slices.ContainsFunc(cells, func(s string) bool { return strings.ContainsFunc(s, unicode.IsLetter) })
	}
	return true
}

// priced tells whether most of the cells that hold something are amounts of
// money: a currency's sign, and no words.
func priced(cells []string) bool {
	full, signs := 0, 0
	for _, s := range cells {
		if strings.TrimSpace(s) == "" {
			continue
		}
		full++
		if strings.ContainsFunc(s, func(r rune) bool { return unicode.Is(unicode.Sc, r) }) && !strings.ContainsFunc(s, unicode.IsLetter) {
			signs++
		}
	}
	return 2*signs > full
}

// reads tells whether most of the cells that hold something can be read as the
// field, and whether most hold something if it is needed.
func (f field) reads(cells []string, kind RowKind) bool {
	if !f.money && priced(cells) {
		return false
	}
	c := cell{latest: 1 << 30}
	reads := func(s string, order DateOrder) bool {
		c.order = order
		c.reset([]byte(s))
		f.put(&c, schemas[kind].blank())
		return c.fault == ""
	}
	full, bad := 0, 0
	for _, s := range cells {
		if c.reset([]byte(s)); c.empty() {
			continue
		}
		full++
		if !reads(s, DayMonth) && !reads(s, MonthDay) {
			bad++
		}
	}
	return 2*bad <= full && (!f.needed || 2*full >= len(cells))
}

// numbered tells whether all cells that hold something hold a digit.
func numbered(cells []string) bool {
	return !slices.ContainsFunc(cells, func(s string) bool { return s != "" && !strings.ContainsFunc(s, unicode.IsDigit) })
}

func column(rows [][]string, i int) []string {
	var cells []string
	for _, r := range rows {
		if i < len(r) {
			cells = append(cells, r[i])
		}
	}
	return cells
}
