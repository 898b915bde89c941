package xlsx

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"time"
)

// Text gives a sheet as CSV: commas, UTF-8, a line a row. Faults of the sheet
// come as errors of Read. It panics if the book has no such sheet.
func (b *Book) Text(name string) io.ReadCloser {
	i := slices.IndexFunc(b.sheets, func(s sheet) bool { return s.name == name })
	if i < 0 {
		panic("xlsx: no sheet " + name)
	}
	return &text{book: b, name: b.sheets[i].part}
}

// text writes a sheet's rows as they are asked for.
type text struct {
	book  *Book
	name  string
	part  *part
	lines []byte // written and not yet read
	err   error

	given                int    // bytes, to who reads
	rows, columns, cells int    // rows written, columns of the row in hand, cells in all
	at                   int    // column of the cell in hand, from 0
	kind                 string // its type
	format               format
	value                []byte
	inValue              bool
	run                  runs
}

// Close ends the reading.
func (t *text) Close() error {
	if t.part != nil {
		t.part.Close()
	}
	return nil
}

func (t *text) Read(b []byte) (int, error) {
	if t.part == nil && t.err == nil {
		t.part, t.err = t.book.open(t.name)
	}
	for len(t.lines) < len(b) && t.err == nil {
		t.err = t.step()
	}
	n := copy(b, t.lines)
	if t.given += n; t.given > maxText && t.err == nil {
		t.err = fmt.Errorf("need at most %d bytes of text, have more: save the sheet as CSV", maxText)
	}
	t.lines = append(t.lines[:0], t.lines[n:]...)
	if n > 0 || t.err == nil {
		return n, nil
	}
	if t.err == io.EOF {
		return 0, io.EOF
	}
	return 0, fmt.Errorf("xlsx: row %d: %w", t.rows, t.err)
}

// step takes in one token.
func (t *text) step() error {
	token, err := t.part.token()
	if err != nil {
		return err
	}
	switch e := token.(type) {
	case xml.StartElement:
		switch e.Name.Local {
		case "row":
			return t.startRow(e)
		case "c":
			return t.startCell(e)
		case "v":
			t.inValue = true
		default:
			t.run.open(e.Name.Local)
		}
	case xml.CharData:
		if t.inValue || t.run.spoken() {
			t.value = append(t.value, e...)
		}
		if len(t.value) > maxToken {
			return fmt.Errorf("holds a text longer than %d bytes", maxToken)
		}
	case xml.EndElement:
		switch e.Name.Local {
		case "row":
			t.lines = append(t.lines, '\n')
		case "c":
			return t.endCell()
		case "v":
			t.inValue = false
		default:
			t.run.close(e.Name.Local)
		}
	}
	return nil
}

// startRow goes to the row that the file names, or to the next. Rows that the
// file leaves out are blank lines.
func (t *text) startRow(e xml.StartElement) error {
	n := t.rows + 1
	if r := attr(e, "r"); r != "" {
		var err error
		if n, err = strconv.Atoi(r); err != nil || n <= t.rows {
			return fmt.Errorf("need rows in order after %d, have row %q", t.rows, r)
		}
	}
	if n > maxRows {
		return fmt.Errorf("need at most %d rows, have row %d", maxRows, n)
	}
	for ; t.rows < n-1; t.rows++ {
		t.lines = append(t.lines, '\n')
	}
	t.rows, t.columns = n, 0
	t.at = -1
	return nil
}

func (t *text) startCell(e xml.StartElement) error {
	if t.cells++; t.cells > maxCells {
		return fmt.Errorf("need at most %d cells, have more: save the sheet as CSV", maxCells)
	}
	at := t.at + 1
	if r := attr(e, "r"); r != "" {
		var ok bool
		if at, ok = columnOf(r); !ok || at <= t.at {
			return fmt.Errorf("need cells in order, have cell %.20q after column %d", r, t.at+1)
		}
	}
	t.at, t.kind, t.format = at, attr(e, "t"), number
	if s := attr(e, "s"); s != "" {
		if i, err := strconv.Atoi(s); err == nil && 0 <= i && i < len(t.book.formats) {
			t.format = t.book.formats[i]
		}
	}
	t.value, t.inValue, t.run = t.value[:0], false, runs{}
	return nil
}

// columnOf reads the column, from 0, of a cell's name such as AB12.
func columnOf(name string) (column int, ok bool) {
	for i := range len(name) {
		c := name[i]
		if c < 'A' || c > 'Z' || i == 4 {
			return column - 1, column > 0
		}
		column = column*26 + int(c-'A') + 1
	}
	return column - 1, column > 0
}

func (t *text) endCell() error {
	v := t.value
	if len(v) == 0 { // blank, whatever its type
		return nil
	}
	switch t.kind {
	case "s":
		i, err := strconv.Atoi(string(v))
		if err != nil || i < 0 || i >= len(t.book.texts.ends) {
			return fmt.Errorf("has a cell with text number %.20q, need 0 to %d", v, len(t.book.texts.ends)-1)
		}
		v = t.book.texts.at(i)
	case "", "n":
		v = t.book.number(v, t.format)
	}
	if len(v) == 0 {
		return nil
	}
	if t.at >= maxColumns {
		return fmt.Errorf("has a cell in column %d, need at most %d columns", t.at+1, maxColumns)
	}
	for ; t.columns < t.at; t.columns++ {
		t.lines = append(t.lines, ',')
	}
	t.lines = appendCell(t.lines, v)
	return nil
}

// appendCell writes a cell in quotes if it needs them.
func appendCell(b, v []byte) []byte {
	if !bytes.ContainsAny(v, "\",\r\n\x00") && v[0] != ' ' {
		return append(b, v...)
	}
	b = append(b, '"')
	for i, c := range v {
		switch {
		case c == '"':
			b = append(b, '"', '"')
		case c == '\n' && i > 0 && v[i-1] == '\r':
		case c == '\r' || c == '\n':
			b = append(b, ' ')
		default:
			b = append(b, c)
		}
	}
	return append(b, '"')
}

// number writes a stored number as what its format makes it. Excel stores the
// 17 digits that bring a float64 back, and shows no more than 15 of them; what
// has fewer is kept as it stands, as it may be a repair order's number.
func (b *Book) number(v []byte, f format) []byte {
	if f == number && len(v) <= 15 && bytes.IndexByte(v, 'E') < 0 {
		return v
	}
	x, err := strconv.ParseFloat(string(v), 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return v
	}
	switch {
	case f == clock && 0 <= x && x < maxHours/24:
		seconds := int(math.Round(x * 86400))
		out := fmt.Appendf(nil, "%d:%02d", seconds/3600, seconds/60%60)
		if s := seconds % 60; s > 0 {
			out = fmt.Appendf(out, ":%02d", s)
		}
		return out
	case f == day && 1 <= x && x < lastSerial:
		return b.day(x)
	}
	x, err = strconv.ParseFloat(strconv.FormatFloat(x, 'g', 15, 64), 64)
	if err != nil || math.Abs(x) >= 1e21 {
		return v
	}
	return strconv.AppendFloat(nil, x, 'f', -1, 64)
}

const (
	maxHours   = 100_000   // of a duration
	lastSerial = 2_958_466 // 9999-12-31, the last day that Excel knows, plus 1 (from memory)
)

// day writes a serial day. Day 1 is 1900-01-01, day 60 a 29 February 1900 that
// never was (Lotus 1-2-3's error, kept by Excel), so that from March 1900 on
// days count from 1899-12-30; by the other epoch day 0 is 1904-01-01.
func (b *Book) day(serial float64) []byte {
	epoch := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	if b.date1904 {
		epoch = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	} else if serial < 60 {
		epoch = epoch.AddDate(0, 0, 1)
	}
	seconds := int64(math.Round(serial * 86400))
	t := epoch.AddDate(0, 0, int(seconds/86400)).Add(time.Duration(seconds%86400) * time.Second)
	if seconds%86400 == 0 {
		return t.AppendFormat(nil, time.DateOnly)
	}
	return t.AppendFormat(nil, time.DateTime)
}
