package ingest

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
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

// Ignore, in place of a field, makes With drop a column.
const Ignore = "ignore"

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
