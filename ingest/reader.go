package ingest

import (
	"bytes"
	"cmp"
	"fmt"

	"freshet/forecast"
)

// A Reader reads the rows of a sheet one by one, in the manner of
// bufio.Scanner. Each data row gives either a record, perhaps with warnings,
// or a reject:
//
//	rejected                                       doubted
//	quote never closed, text after a closing       quote within a quoted cell
//	  quote, NUL byte
//	row over 1 MiB, cell over 64 KiB, over 256
//	  columns
//	more filled cells than headers                 fewer cells than headers (the others are blank)
//	looks like a totals line, repeats the header
//	needed cell blank
//	cell that can't be read as its type, name      1,250 or 1.250 (thousands or decimals)
//	  over 200 bytes
//	no such day, day or month first unknown,       two-digit year
//	  before 1990-01-01, after latest (plans: ten
//	  years after)
//	hours of a job negative or over 2000,          hours of a job over 200, of a week over 80,
//	  of a week over 168, share over 1               hours that are an amount of money
//	days over 2000, hourly cost over 10,000
//	ready or picked up before dropped off          promised before dropped off, picked up before ready
//	until before from                              line number twice in a repair order, row like the one
//	                                                 before it in each cell
//
// Only cells of mapped columns count. Rows of blank cells are no data rows.
type Reader struct {
	sheet    *Sheet
	rows     *rows
	schema   *schema
	steps    []step
	cell     cell
	seen     *occurrences
	key      []byte
	verdict  verdict
	tally    Tally
	rec      Record
	reject   *RowError
	warnings []error
}

// A step reads one column.
type step struct {
	field
	column int
	header string
	order  DateOrder
}

// A Tally counts the rows of a file. Titles, the header, Blank and Rows make
// up all of it, but for blank rows above the header.
type Tally struct {
	Titles   int // above the header, blank ones not counted
	Blank    int // below the header, without any content
	Rows     int // data rows: each was a record or a reject
	Rejected int
	Warned   int // records with warnings
}

func newReader(s *Sheet, l Layout, latest forecast.Date) *Reader {
	r := &Reader{
		sheet:  s,
		rows:   s.rows,
		schema: schemas[l.Kind],
		cell:   cell{latest: latest, comma: s.Delimiter == ';', date1904: s.known.Date1904, zone: s.known.Zone, interned: map[string]string{}},
		seen:   newOccurrences(),
		tally:  Tally{Titles: s.Titles},
	}
	// In the schema's order, so that what a row lacks most is named first.
	for _, f := range r.schema.fields {
		for i, c := range l.Columns {
			if c.Field == f.name {
				r.steps = append(r.steps, step{field: f, column: i, header: c.Header})
			}
		}
	}
	return r
}

// inferOrders looks over the head for how each column writes dates; said is
// for columns that don't tell.
func (r *Reader) inferOrders(said DateOrder) error {
	evidence := make([]dateEvidence, len(r.steps))
	ahead, scratch := r.rows.ahead(), r.schema.blank()
	c := r.cell
	for n := 0; n < orderedRows && ahead.next(); n++ {
		if ahead.fault != "" || ahead.partial && !r.rows.eof {
			continue
		}
		c.line = ahead.at
		for i, s := range r.steps {
			if s.column < len(ahead.cells) {
				c.reset(ahead.decoded(ahead.cells[s.column]))
				c.evidence = &evidence[i]
				s.put(&c, scratch)
			}
		}
	}
	var all dateEvidence
	for _, e := range evidence {
		all.dayFirst += e.dayFirst
		all.monthFirst += e.monthFirst
	}
	for i, e := range evidence {
		order := cmp.Or(e.order(), said)
		if order == InferOrder && !e.mixed() {
			order = all.order()
		}
		if order == InferOrder && !e.mixed() && e.doubtful > 0 {
			return &AmbiguousDates{File: r.sheet.Name, Line: e.line, Column: r.steps[i].header, Value: cut(e.value, maxShown)}
		}
		r.steps[i].order = order
	}
	return nil
}

// Next reads one data row. It is false at the end of the file and when the
// file can't be read on; see Err.
func (r *Reader) Next() bool {
	r.rec, r.reject, r.warnings = nil, nil, nil
	for r.rows.next() {
		if r.rows.blank() {
			r.tally.Blank++
			continue
		}
		r.tally.Rows++
		r.read()
		if r.reject != nil {
			r.rec, r.warnings = nil, nil
			r.tally.Rejected++
		} else if len(r.warnings) > 0 {
			r.tally.Warned++
		}
		return true
	}
	return false
}

// Record gives what the row in hand says, or nil if it was rejected. It is the
// caller's to keep.
func (r *Reader) Record() Record { return r.rec }

// Reject says why the row in hand gave no record, or is nil.
func (r *Reader) Reject() *RowError { return r.reject }

// Warnings are doubts about the record in hand, *RowError each.
func (r *Reader) Warnings() []error { return r.warnings }

// Line gives the physical line, from 1, at which the row in hand starts.
func (r *Reader) Line() int { return r.rows.at }

// Cells gives a copy of the row in hand as it stands in the file, in UTF-8. A
// row whose cells can't be told apart is one cell, of at most 64 KiB.
func (r *Reader) Cells() []string {
	cells := make([]string, len(r.rows.cells))
	for i, c := range r.rows.cells {
		cells[i] = string(r.rows.decoded(c))
	}
	return cells
}

// Tally counts the rows so far.
func (r *Reader) Tally() Tally { return r.tally }

// Err says what kept the file from being read to its end, or is nil.
func (r *Reader) Err() error {
	if r.rows.err != nil {
		return r.sheet.errorf("after line %d: %w", r.rows.at, r.rows.err)
	}
	return nil
}

func (r *Reader) read() {
	t, c := r.rows, &r.cell
	if t.fault != "" {
		r.refuse("", nil, t.fault)
		return
	}
	if len(t.cells) > len(r.sheet.Headers) && !r.fits() {
		return
	}
	rec := r.schema.blank()
	for i := range r.steps {
		s := &r.steps[i]
		var raw []byte
		if s.column < len(t.cells) {
			raw = t.cells[s.column]
		}
		c.reset(t.decoded(raw))
		c.order = s.order
		s.put(c, rec)
		if s.needed && c.fault == "" && c.empty() {
			c.fault = "is blank"
		}
		if c.fault != "" {
			if r.isTotals() {
				r.refuse("", nil, ReasonTotals)
			} else if r.isHeader() {
				r.refuse("", nil, ReasonAgain)
			} else {
				r.refuse(s.header, raw, c.fault)
			}
			return
		}
		for _, w := range c.warnings {
			r.warn(s.header, raw, w)
		}
	}
	if r.isTotalsName(rec) {
		r.refuse("", nil, ReasonTotals)
		return
	}
	r.judge(rec)
	r.rec = rec
}

// judge looks at the row as a whole.
func (r *Reader) judge(rec Record) {
	v := &r.verdict // in place, since check would have it made anew for each row
	*v = verdict{}
	r.schema.check(rec, v)
	if v.fault.reason != "" {
		r.refuse(r.named(v.fault))
		return
	}
	if v.warning.reason != "" {
		r.warn(r.named(v.warning))
	}
	if n := len(r.rows.cells); n < len(r.sheet.Headers) && !r.sheet.known.Short {
		r.warn("", nil, fmt.Sprintf("has %d cells, need %d as the header; the others were taken for blank", n, len(r.sheet.Headers)))
	}
	if r.rows.loose {
		r.warn("", nil, "has a quote within a quoted cell, which was taken for text")
	}
	if d, ok := rec.(*DropOff); ok {
		r.key = d.appendKey(r.key[:0], false)
		var row uint64 // of rows that a line number tells apart, none is needed
		if d.Line == "" {
			row = hash(r.rows.cells...)
		}
		var same bool
		switch d.Nth, same = r.seen.next(r.key, row); {
		case d.Line != "" && d.Nth > 1:
			r.warn("", nil, fmt.Sprintf("has line %s of repair order %s again; the later row counts", d.Line, d.RO))
		case same:
			r.warn("", nil, fmt.Sprintf("is like the row before it of repair order %s in each cell, and counts as another job; if it was entered twice, take it out on the page Jobs", d.RO))
		}
	}
}

// named gives a finding's header and cell.
func (r *Reader) named(f finding) (header string, raw []byte, reason string) {
	for _, s := range r.steps {
		if s.name == f.field {
			return s.header, r.rows.cells[s.column], f.reason
		}
	}
	return "", nil, f.reason
}

// fits refuses a row that has something in a cell beyond the header: then a
// delimiter is likely part of the text, and cells are in the wrong columns.
func (r *Reader) fits() bool {
	for i, extra := range r.rows.cells[len(r.sheet.Headers):] {
		if i == 0 && r.sheet.Mended {
			continue
		}
		if len(bytes.TrimSpace(extra)) > 0 {
			r.refuse("", nil, fmt.Sprintf("has %d cells, need at most %d as the header", len(r.rows.cells), len(r.sheet.Headers)))
			return false
		}
	}
	return true
}

func (r *Reader) refuse(header string, raw []byte, reason string) {
	r.reject = r.rowError(header, raw, reason)
}

func (r *Reader) warn(header string, raw []byte, reason string) {
	r.warnings = append(r.warnings, r.rowError(header, raw, reason))
}

func (r *Reader) rowError(header string, raw []byte, reason string) *RowError {
	value := ""
	if len(raw) > 0 {
		value = cut(r.rows.text(raw), maxShown)
	}
	return &RowError{File: r.sheet.Name, Line: r.rows.at, Column: header, Value: value, Reason: reason}
}
