package ingest

import "bytes"

// isTotals tells whether a row that can't be read begins with a cell that has a
// word for totals in it ("Total", "Week total:", "Total May"), or holds nothing
// but numbers where a record has its name and date.
func (r *Reader) isTotals() bool {
	numbers := 0
	for _, c := range r.rows.cells {
		c = bytes.TrimSpace(r.rows.decoded(c))
		if len(c) == 0 {
			continue
		}
		if numbers == 0 && (startsWithTotal(c) || endsWithTotal(c) || firstWordTotal(c) && r.nameless()) {
			return true
		}
		if _, _, ok := parseHours(c, r.cell.comma); !ok {
			return false
		}
		numbers++
	}
	return r.nameless()
}

// nameless tells whether the row has nothing in any of the columns that each
// record needs.
func (r *Reader) nameless() bool {
	for _, s := range r.steps {
		if s.needed && s.column < len(r.rows.cells) && len(bytes.TrimSpace(r.rows.cells[s.column])) > 0 {
			return false
		}
	}
	return true
}

// firstWordTotal tells whether a cell's first word is one for totals: "Total
// May".
func firstWordTotal(c []byte) bool {
	i := bytes.IndexByte(c, ' ')
	return i > 0 && len(c) <= maxLabel && word("total", c[:i]) != ""
}

// startsWithTotal tells whether a cell is a word for totals, perhaps with a
// number after it: "Total", "Grand total:", "Total: 17 jobs".
func startsWithTotal(c []byte) bool {
	if len(c) > maxLabel {
		return false
	}
	if i := bytes.IndexAny(c, ":=0123456789("); i > 0 {
		c = c[:i]
	}
	return word("total", c) != ""
}

// endsWithTotal tells whether a cell's last word is one for totals: "Week
// total:".
func endsWithTotal(c []byte) bool {
	c = bytes.TrimRight(c, ": ")
	i := bytes.LastIndexByte(c, ' ')
	return i > 0 && len(c) <= maxLabel && word("total", c[i+1:]) != ""
}

// isTotalsName tells whether a row that can be read is named like totals.
func (r *Reader) isTotalsName(rec Record) bool {
	var name string
	switch rec := rec.(type) {
	case *DropOff:
		name = rec.RO
	case *Person:
		name = rec.Name
	case *Absence:
		name = rec.Name
	case *Event:
		name = rec.Name
	}
	for i := range len(name) { // most are numbers, and need no look-up
		if '0' <= name[i] && name[i] <= '9' {
			return false
		}
	}
	return startsWithTotal([]byte(name))
}

// isHeader tells whether the row repeats the header, as in files that were
// joined.
func (r *Reader) isHeader() bool {
	for _, s := range r.steps {
		if s.column >= len(r.rows.cells) || r.rows.text(r.rows.cells[s.column]) != r.sheet.written[s.column] {
			return false
		}
	}
	return true
}
