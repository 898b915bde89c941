package ingest

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

const (
	maxRecord  = 1 << 20  // bytes of a row
	maxField   = 64 << 10 // bytes of a cell
	maxColumns = 256
	window     = maxRecord + 4*maxField
)

// rows parts a stream of text into rows of cells, in a window of fixed size.
//
// A cell in quotes may hold delimiters, line ends, and quotes written twice. A
// quote in the midst of a cell is text (5" screen). A quote in a quoted cell
// that neither ends it nor is doubled is text too, as long as the cell ends on
// the same line ("5" screen"): beyond that, it would swallow other rows.
//
// A row that breaks a limit or a quote is a fault, and reading goes on at the
// next physical line after the one where the fault began. No file can make that
// slow: within an open quote, a run of an odd number of quotes ends the cell or
// the row, and a line without one can't leave a quote open, so that no line is
// looked at more than a few times.
type rows struct {
	src      io.Reader
	delim    byte
	buf      []byte
	pos, end int // buf[pos:end] is read but not consumed
	eof      bool
	err      error // what stopped the reading, if not the end
	line     int   // physical line, from 1, at pos

	// The row in hand, valid until the next one is read.
	at      int // its physical line
	cells   [][]byte
	fault   string // why it can't be read; cells then hold the raw line
	legacy  bool   // it must be windows-1252, as it isn't UTF-8
	loose   bool   // a quote within a quoted cell was taken for text
	partial bool   // it ended with the stream, not with a line end
	spans   []span
	scratch []byte
}

// A span is a cell by its offsets from the row's start, or a copy of it with
// its doubled quotes undone.
type span struct {
	from, to int
	plain    []byte
}

// next reads a row. It is false at the end and after an error of the stream.
func (t *rows) next() bool {
	t.cells, t.spans, t.scratch = t.cells[:0], t.spans[:0], t.scratch[:0]
	t.fault, t.loose, t.partial = "", false, false
	if t.err != nil || !t.have(0) {
		return false
	}
	t.at = t.line
	i, lines := 0, 0
	for {
		if len(t.spans) == maxColumns {
			return t.skip(i, lines, fmt.Sprintf("has more than %d columns", maxColumns))
		}
		var ok bool
		if i, lines, ok = t.cell(i, lines); !ok {
			return t.err == nil
		}
		if i > maxRecord {
			return t.skip(i, lines, fmt.Sprintf("is longer than %d bytes", maxRecord))
		}
		if !t.have(i) {
			t.partial = true
			break
		}
		c := t.buf[t.pos+i]
		i++
		if c == t.delim {
			continue
		}
		if c == '\r' && t.have(i) && t.buf[t.pos+i] == '\n' {
			i++
		}
		break
	}
	if t.err != nil {
		return false
	}
	row := t.buf[t.pos : t.pos+i]
	for _, s := range t.spans {
		if s.plain == nil {
			s.plain = row[s.from:s.to]
		}
		t.cells = append(t.cells, s.plain)
	}
	t.legacy = !utf8.Valid(row)
	t.consume(i, lines+1)
	return true
}

// cell reads the cell at offset i and leaves the offset of what ended it: a
// delimiter, a line end or the end of the stream. lines counts the line ends
// within the row so far. If it isn't ok, the row is a fault and consumed.
func (t *rows) cell(i, lines int) (end, linesNow int, ok bool) {
	j := i
	for t.have(j) && t.buf[t.pos+j] == ' ' && j-i < maxField {
		j++
	}
	if t.have(j) && t.buf[t.pos+j] == '"' {
		return t.quoted(j, lines)
	}
	for {
		b := t.buf[t.pos:t.end]
		limit := min(len(b), i+maxField+1)
		for j < limit {
			if c := b[j]; c == t.delim || c <= '\r' && (c == '\n' || c == '\r' || c == 0) {
				if c == 0 {
					t.skip(j, lines, "holds a NUL byte")
					return 0, 0, false
				}
				t.spans = append(t.spans, span{from: i, to: j})
				return j, lines, true
			}
			j++
		}
		if j-i > maxField {
			t.skip(j, lines, tooLong)
			return 0, 0, false
		}
		if !t.have(j) {
			t.spans = append(t.spans, span{from: i, to: j})
			return j, lines, true
		}
	}
}

var tooLong = fmt.Sprintf("has a cell longer than %d bytes", maxField)

// quoted reads the cell whose quote opens at offset i.
func (t *rows) quoted(i, lines int) (end, linesNow int, ok bool) {
	var (
		from    = i + 1
		j       = from
		before  = lines
		nextRow = -1 // offset of the line after the one where the quote opened
		doubled = false
		loose   = false
	)
	broken := func(reason string) (int, int, bool) {
		if nextRow < 0 {
			t.skip(j, lines, reason)
		} else {
			t.broken(nextRow, nextRow, before+1, reason)
		}
		return 0, 0, false
	}
	for t.have(j) {
		if j-from > maxField {
			if nextRow < 0 {
				return broken(tooLong)
			}
			return broken(fmt.Sprintf("opens a quote that isn't closed within %d bytes", maxField))
		}
		c := t.buf[t.pos+j]
		j++
		switch c {
		case 0:
			return broken("holds a NUL byte")
		case '\r', '\n':
			if c == '\r' && t.have(j) && t.buf[t.pos+j] == '\n' {
				j++
			}
			lines++
			if nextRow < 0 {
				nextRow = j
			}
			if loose {
				return broken("has text after a closing quote")
			}
		case '"':
			if t.have(j) && t.buf[t.pos+j] == '"' {
				doubled = true
				j++
				continue
			}
			k := j
			for t.have(k) && t.buf[t.pos+k] == ' ' && k-from <= maxField {
				k++
			}
			if !t.have(k) || t.ends(t.buf[t.pos+k]) {
				t.close(from, j-1, doubled)
				return k, lines, true
			}
			if nextRow >= 0 {
				return broken("has text after a closing quote")
			}
			loose, t.loose = true, true
		}
	}
	return broken("opens a quote that is never closed")
}

func (t *rows) ends(c byte) bool { return c == t.delim || c == '\n' || c == '\r' }

// close keeps a quoted cell.
func (t *rows) close(from, to int, doubled bool) {
	if !doubled {
		t.spans = append(t.spans, span{from: from, to: to})
		return
	}
	n := len(t.scratch)
	for b := t.buf[t.pos+from : t.pos+to]; len(b) > 0; b = b[1:] {
		t.scratch = append(t.scratch, b[0])
		if b[0] == '"' && len(b) > 1 && b[1] == '"' {
			b = b[1:]
		}
	}
	t.spans = append(t.spans, span{plain: t.scratch[n:]})
}

// skip makes the row a fault and consumes the physical line at offset i.
func (t *rows) skip(i, lines int, reason string) bool {
	end := func() int { return bytes.IndexAny(t.buf[t.pos+i:t.end], "\r\n") }
	for end() < 0 && t.end-t.pos < maxRecord && t.have(t.end-t.pos) {
	}
	if k := end(); k >= 0 {
		shown := i + k
		i = shown + 1
		if t.buf[t.pos+shown] == '\r' && t.have(i) && t.buf[t.pos+i] == '\n' {
			i++
		}
		return t.broken(shown, i, lines+1, reason)
	}
	t.broken(t.end-t.pos, t.end-t.pos, lines, reason)
	for t.have(0) { // the line goes on beyond the window
		k := bytes.IndexAny(t.buf[t.pos:t.end], "\r\n")
		if k < 0 {
			t.consume(t.end-t.pos, 0)
			continue
		}
		i = k + 1
		if t.buf[t.pos+k] == '\r' && t.have(i) && t.buf[t.pos+i] == '\n' {
			i++
		}
		t.consume(i, 1)
		break
	}
	return t.err == nil
}

// broken makes the row a fault, keeps its first bytes up to offset shown as
// its only cell, and consumes up to offset i.
func (t *rows) broken(shown, i, lines int, reason string) bool {
	raw := bytes.TrimRight(t.buf[t.pos:t.pos+min(shown, maxField)], "\r\n")
	t.scratch = append(t.scratch[:0], raw...)
	t.cells = append(t.cells[:0], t.scratch)
	t.legacy = !utf8.Valid(t.scratch)
	t.fault = reason
	t.consume(i, lines)
	return t.err == nil
}

func (t *rows) consume(n, lines int) {
	t.pos += n
	t.line += lines
}

// have tells whether the stream has a byte at offset i from pos, reading on if
// need be. Every caller keeps i well below the window's size.
func (t *rows) have(i int) bool {
	return t.pos+i < t.end || t.fill(i)
}

func (t *rows) fill(i int) bool {
	for tries := 0; t.pos+i >= t.end && !t.eof; tries++ {
		if t.end == len(t.buf) {
			t.end = copy(t.buf, t.buf[t.pos:t.end])
			t.pos = 0
		}
		n, err := t.src.Read(t.buf[t.end:])
		t.end += n
		if n == 0 && err == nil && tries == 100 {
			err = io.ErrNoProgress
		}
		if err != nil {
			t.eof = true
			if err != io.EOF {
				t.err = err
			}
		}
	}
	return t.pos+i < t.end
}

// ahead gives rows over what the window holds, without consuming it. Its last
// row may be partial.
func (t *rows) ahead() *rows {
	return &rows{buf: t.buf[:t.end], pos: t.pos, end: t.end, eof: true, delim: t.delim, line: t.line}
}

// decoded gives a cell of the row in hand as UTF-8.
func (t *rows) decoded(cell []byte) []byte {
	if t.legacy {
		return fromWindows1252(cell)
	}
	return cell
}

// text gives a cell of the row in hand for people: in one line.
func (t *rows) text(cell []byte) string {
	return strings.Join(strings.Fields(string(t.decoded(cell))), " ")
}

// blank tells whether the row in hand holds nothing but spaces.
func (t *rows) blank() bool {
	for _, c := range t.cells {
		if len(bytes.TrimSpace(c)) > 0 {
			return false
		}
	}
	return t.fault == ""
}
