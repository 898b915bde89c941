package ingest

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"strings"
	"time"

	"freshet/forecast"
)

const (
	sniffed     = 50 // rows that tell delimiter and header
	sampled     = 20 // rows shown, and tried against guesses
	orderedRows = 5000
)

// A Sheet is an opened file of which the headers are known and nothing but the
// head has been read.
type Sheet struct {
	Name       string
	Headers    []string   // unique: a second "Hours" is "Hours (2)", an empty one "column 3"
	HeaderLine int        // physical line, from 1
	Titles     int        // rows above the header, blank ones not counted
	Delimiter  byte       // , ; tab or |
	Sample     [][]string // up to 20 rows below the header
	Mended     bool       // its last column, left out of Headers, is ReasonHeader
	written    []string   // headers as they stand in the file
	known      Text
	rows       *rows
	taken      bool
}

// Open reads the head of a file, up to 1 MiB: the encoding (UTF-8, UTF-16 by
// its byte order mark, else windows-1252), a sep= line, the delimiter by what
// parts the first 50 rows most evenly, title lines, and the header. name
// stands for the file in messages.
//
// It takes a plain io.Reader and keeps the head in its window, so that pipes
// and uploads need not be stored first. A file without a header line, empty,
// or not text is an error.
func Open(name string, r io.Reader) (*Sheet, error) { return OpenText(name, r, Text{}) }

// Text is what is known beforehand about a file's text.
type Text struct {
	Delimiter byte           // 0 if it is to be found out
	Date1904  bool           // bare numbers for days count from 1904-01-01, not from 1899-12-30
	Short     bool           // rows leave out blank cells at their end, as a matter of course
	Zone      *time.Location // whose days instants fall on; nil: on those that they are written with
}

// OpenText is Open for text of which more is known than a file tells.
func OpenText(name string, r io.Reader, known Text) (*Sheet, error) {
	s := &Sheet{Name: name, Delimiter: known.Delimiter, rows: &rows{buf: make([]byte, window), line: 1}, known: known}
	t := s.rows
	var err error
	if t.src, err = decode(r); err != nil {
		return nil, s.errorf("%w", err)
	}
	for t.end < maxRecord && t.have(t.end) {
	}
	if t.err != nil {
		return nil, s.errorf("%w", t.err)
	}
	head := t.buf[:t.end]
	switch {
	case len(bytes.TrimSpace(head)) == 0:
		return nil, s.errorf("need a header line, have an empty file")
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("\xd0\xcf\x11\xe0")):
		return nil, s.errorf("need CSV text or an Excel workbook (.xlsx), have a file of another program: open it there and save it as .xlsx or CSV")
	case 4*bytes.Count(head[:min(len(head), 1024)], []byte{0}) > min(len(head), 1024):
		return nil, s.errorf("need text, have NUL bytes: a binary file, or UTF-16 without a byte order mark")
	}
	if s.Delimiter != 0 {
		t.delim = s.Delimiter
	} else if s.Delimiter = separatorLine(head); s.Delimiter != 0 {
		t.delim = s.Delimiter
		t.next()
	} else {
		s.Delimiter = likeliestDelimiter(t)
		t.delim = s.Delimiter
	}
	if err := s.findHeader(); err != nil {
		return nil, err
	}
	s.takeSample()
	return s, nil
}

func (s *Sheet) errorf(format string, args ...any) error {
	return fmt.Errorf("ingest: %s: "+format, append([]any{s.Name}, args...)...)
}

// separatorLine gives the delimiter that a first line such as sep=; names, as
// spreadsheets write it, or 0.
func separatorLine(head []byte) byte {
	line := head[:min(len(head), 16)]
	if i := bytes.IndexAny(line, "\r\n"); i >= 0 {
		line = line[:i]
	}
	line = bytes.Trim(line, `"`)
	if len(line) == 5 && strings.EqualFold(string(line[:4]), "sep=") && strings.IndexByte(delimiters, line[4]) >= 0 {
		return line[4]
	}
	return 0
}

// ReasonHeader heads a last column that says why a row was rejected: the file
// is one of rows to be mended. Their other columns are those of the file that
// they came from.
const ReasonHeader = "why it was rejected"

const delimiters = ",;\t|"

// likeliestDelimiter takes the one that parts most rows into the same number
// of cells, and into more of them.
func likeliestDelimiter(t *rows) byte {
	best, bestScore := delimiters[0], 0.0
	for i := range len(delimiters) {
		ahead := t.ahead()
		ahead.delim = delimiters[i]
		widths := map[int]int{}
		n := 0
		for n < sniffed && ahead.next() {
			if (!ahead.partial || t.eof) && !ahead.blank() {
				n++
				widths[len(ahead.cells)]++
			}
		}
		for w, count := range widths {
			share := float64(count) / float64(n)
			if score := share * share * float64(w-1); score > bestScore {
				best, bestScore = delimiters[i], score
			}
		}
	}
	return best
}

// findHeader consumes the rows down to the header: the one with the most known
// headers, at least two, else the first that fills at least half as many cells
// as the rows below it mostly do.
func (s *Sheet) findHeader() error {
	type candidate struct{ filled, known int }
	var seen []candidate
	full := map[int]int{} // rows by how many cells they fill
	fault := ""           // the first
	ahead := s.rows.ahead()
	for len(seen) < sniffed && ahead.next() {
		c := candidate{}
		for _, cell := range ahead.cells {
			if name := ahead.text(cell); name != "" {
				c.filled++
				if f := Fold(name); f != "" && isKnownHeader(f) {
					c.known++
				}
			}
		}
		if ahead.fault != "" {
			c = candidate{}
			if fault == "" {
				fault = fmt.Sprintf(": line %d %s", ahead.at, ahead.fault)
			}
		}
		seen = append(seen, c)
		if c.filled > 0 {
			full[c.filled]++
		}
	}
	usual := 0
	for filled, n := range full {
		if n > full[usual] || n == full[usual] && filled > usual {
			usual = filled
		}
	}
	header := -1
	for i, c := range seen {
		if c.known >= 2 && (header < 0 || c.known > seen[header].known) {
			header = i
		}
	}
	for i := 0; header < 0 && i < len(seen); i++ {
		if c := seen[i]; c.filled > 0 && 2*c.filled >= usual {
			header = i
		}
	}
	if header < 0 {
		return s.errorf("need a header line within the first %d rows, have none%s", sniffed, fault)
	}
	for i := 0; i <= header; i++ {
		s.rows.next()
		if i < header && !s.rows.blank() {
			s.Titles++
		}
	}
	s.HeaderLine = s.rows.at
	s.name(s.rows.cells)
	return nil
}

func isKnownHeader(folded string) bool {
	for _, d := range dictionaries() {
		if d.field[folded] != "" {
			return true
		}
	}
	return false
}

// name makes the header's cells unique names, without the empty ones at its
// end and one that is ReasonHeader.
func (s *Sheet) name(cells [][]byte) {
	last := len(cells) - 1
	for last >= 0 && s.rows.text(cells[last]) == "" {
		last--
	}
	if s.Mended = last >= 0 && s.rows.text(cells[last]) == ReasonHeader; s.Mended {
		last--
	}
	seen := map[string]bool{}
	for i, c := range cells[:last+1] {
		base := cmp.Or(cut(s.rows.text(c), maxLabel), fmt.Sprintf("column %d", i+1))
		name := base
		for n := 2; seen[name]; n++ {
			name = fmt.Sprintf("%s (%d)", base, n)
		}
		seen[name] = true
		s.Headers, s.written = append(s.Headers, name), append(s.written, s.rows.text(c))
	}
}

func (s *Sheet) takeSample() {
	for ahead := s.rows.ahead(); len(s.Sample) < sampled && ahead.next(); {
		if ahead.blank() || ahead.fault != "" {
			continue
		}
		row := make([]string, len(ahead.cells))
		for i, c := range ahead.cells {
			row[i] = ahead.text(c)
		}
		s.Sample = append(s.Sample, row)
	}
}

// Read gives a reader of the rows below the header. latest is the last day on
// which anything can have happened, tomorrow for most uses.
//
// A layout of other headers, or without a needed field, is an error. So is an
// *AmbiguousDates: the order of day and month is inferred column by column
// from the first 5,000 rows or MiB, which are read twice. A column whose dates
// don't tell, or tell both, goes by the layout's DateOrder. If that isn't set,
// one that doesn't tell follows the other columns if these agree, else it is
// asked about, and in one that tells both, each date must tell by itself.
// After an error Read may be called again with another layout. It panics if it
// is called again after it gave a reader.
func (s *Sheet) Read(l Layout, latest forecast.Date) (*Reader, error) {
	if s.taken {
		panic("ingest: a sheet can be read once")
	}
	if err := l.settled(s.Headers); err != nil {
		return nil, err
	}
	r := newReader(s, l, latest)
	if err := r.inferOrders(l.DateOrder); err != nil {
		return nil, err
	}
	s.taken = true
	return r, nil
}
