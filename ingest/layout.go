package ingest

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"github.com/agnivade/levenshtein"
)

// A Layout says which column of a file holds which field of a kind of rows. It
// holds no data of the file but its headers, so it can be kept under its
// Signature for the next file of the same make.
type Layout struct {
	Kind      RowKind
	Columns   []Column  // one for each header, in the file's order
	Guesses   []Guess   // likely but unconfirmed, best first
	DateOrder DateOrder // for columns whose dates don't tell
}

// A Column is one header and the field that it holds, or "" if it is ignored.
type Column struct{ Header, Field string }

// A Guess is a header that resembles a field's name, or one of several that
// stand for the same field. It counts for nothing until it is accepted.
type Guess struct {
	Header, Field string
	Distance      float64 // 0 (a known name) to 0.5: edits as a share of the longer name's length, or the farthest for weaker reasons
	Why           string  // in words
}

// Ignore, in place of a field, makes With drop a column.
const Ignore = "ignore"

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
	c := cell{order: DayMonth, latest: 1 << 30}
	full, bad := 0, 0
	for _, s := range cells {
		c.reset([]byte(s))
		if c.empty() {
			continue
		}
		full++
		if f.put(&c, schemas[kind].blank()); c.fault == "is not a day" {
			c.order = MonthDay
			c.reset([]byte(s))
			f.put(&c, schemas[kind].blank())
			c.order = DayMonth
		}
		if c.fault != "" {
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

// Detect proposes a layout for the kind of rows that the headers fit best, with
// what a person said of some of them: the one that holds all its needed fields
// and the most columns. If none does, it is an error, and the kind must be said.
func Detect(headers []string, sample [][]string, said ...Column) (Layout, error) {
	var best Layout
	most := 0
	for _, k := range RowKinds() {
		l, err := Propose(headers, sample, k).withAll(said)
		if n := len(headers) - len(l.Ignored()); err == nil && len(l.Missing()) == 0 && n > most {
			best, most = l, n
		}
	}
	if most == 0 {
		return Layout{}, fmt.Errorf("ingest: need to be told what the rows are (%s), have headers that fit none: %s",
			list(RowKinds()), list(headers))
	}
	return best, nil
}

// withAll gives the layout with each header mapped as said, as With does.
func (l Layout) withAll(said []Column) (_ Layout, err error) {
	for _, c := range said {
		if l, err = l.With(c.Header, c.Field); err != nil {
			return l, err
		}
	}
	return l, nil
}

// With gives the layout with one header mapped to a field, or to Ignore. The
// header is looked for as it is, then folded. A column that held the field
// before is ignored from then on. An unknown or ambiguous header and an
// unknown field are an *Unmapped that lists what there is.
func (l Layout) With(header, field string) (Layout, error) {
	i := l.column(header)
	if i < 0 {
		return l, &Unmapped{fmt.Errorf("ingest: need one header like %q, have %s", header, list(l.headers()))}
	}
	if _, ok := l.Kind.field(field); !ok && field != Ignore {
		return l, &Unmapped{fmt.Errorf("ingest: need a field of %s among %s, or %s, have %q", l.Kind, list(l.Kind.Fields()), Ignore, field)}
	}
	l.Columns = slices.Clone(l.Columns)
	for j := range l.Columns {
		if l.Columns[j].Field == field {
			l.Columns[j].Field = ""
		}
	}
	header = l.Columns[i].Header
	l.Guesses = slices.DeleteFunc(slices.Clone(l.Guesses), func(g Guess) bool { return g.Header == header || g.Field == field })
	if l.Columns[i].Field = field; field == Ignore {
		l.Columns[i].Field = ""
	}
	return l, nil
}

// Unmapped is the error of a mapping by a header or to a field that there isn't.
type Unmapped struct{ error }

// column finds a header, as it is or else the only one that folds alike, or
// gives -1.
func (l Layout) column(header string) int {
	found := -1
	for i, c := range l.Columns {
		if c.Header == header {
			return i
		}
		if Fold(c.Header) == Fold(header) {
			if found >= 0 {
				found = len(l.Columns)
			} else {
				found = i
			}
		}
	}
	if found == len(l.Columns) {
		return -1
	}
	return found
}

// AcceptGuesses gives the layout with its guesses taken, best first, each
// header and each field once.
func (l Layout) AcceptGuesses() Layout {
	for len(l.Guesses) > 0 {
		g := l.Guesses[0]
		next, err := l.With(g.Header, g.Field)
		if err != nil {
			panic(err) // guesses come from the layout's own headers and fields
		}
		l = next
	}
	return l
}

// Missing lists the needed fields that no column holds.
func (l Layout) Missing() []string {
	var names []string
	for _, f := range schemas[l.Kind].fields {
		if f.needed && !l.holds(f.name) {
			names = append(names, f.name)
		}
	}
	return names
}

// Ignored lists the headers of columns that hold no field.
func (l Layout) Ignored() []string {
	var headers []string
	for _, c := range l.Columns {
		if c.Field == "" {
			headers = append(headers, c.Header)
		}
	}
	return headers
}

// Signature names the file's make: a hash of its folded headers in their
// order. It is the same for layouts that map them differently.
func (l Layout) Signature() string {
	folded := l.headers()
	for i, h := range folded {
		folded[i] = Fold(h)
	}
	sum := sha256.Sum256([]byte(strings.Join(folded, "\n")))
	return hex.EncodeToString(sum[:16])
}

func (l Layout) headers() []string {
	hs := make([]string, len(l.Columns))
	for i, c := range l.Columns {
		hs[i] = c.Header
	}
	return hs
}

func (l Layout) holds(field string) bool {
	return slices.ContainsFunc(l.Columns, func(c Column) bool { return c.Field == field })
}

// settled is nil if a file with these headers can be read by the layout.
func (l Layout) settled(headers []string) error {
	if _, ok := schemas[l.Kind]; !ok {
		return fmt.Errorf("ingest: need a layout of %s, have kind %q", list(RowKinds()), l.Kind)
	}
	if !slices.Equal(l.headers(), headers) {
		return fmt.Errorf("ingest: need a layout of the headers %s, have one of %s", list(headers), list(l.headers()))
	}
	for i, c := range l.Columns {
		if _, ok := l.Kind.field(c.Field); c.Field != "" && !ok {
			return fmt.Errorf("ingest: need a field of %s among %s, have %q", l.Kind, list(l.Kind.Fields()), c.Field)
		}
		if slices.ContainsFunc(l.Columns[:i], func(b Column) bool { return b.Field == c.Field && c.Field != "" }) {
			return fmt.Errorf("ingest: need one column of %s, have two", c.Field)
		}
	}
	if missing := l.Missing(); len(missing) > 0 {
		maybe := ""
		for _, g := range l.Guesses {
			if slices.Contains(missing, g.Field) {
				maybe += fmt.Sprintf("; %q may be %s", g.Header, g.Field)
			}
		}
		return fmt.Errorf("ingest: %s need a column of %s, have %s%s", l.Kind, list(missing), list(headers), maybe)
	}
	return nil
}
