package ingest

import (
	"bytes"
	"fmt"
	"strings"
	"time"
	"unicode"

	"freshet/forecast"
)

const (
	maxLabel    = 200  // bytes of a name, number or job kind
	maxInterned = 4096 // labels kept for reuse
	maxHours    = 2000 // of one job
	manyHours   = 200
)

// firstDay is the first day that a record may be dated.
var firstDay = forecast.NewDate(1990, 1, 1)

// A cell reads one cell of a row as a value of some type. It is reused from
// cell to cell.
type cell struct {
	raw      []byte
	line     int
	latest   forecast.Date
	order    DateOrder
	evidence *dateEvidence  // where dates are weighed, during the first pass
	comma    bool           // the file writes decimal commas
	date1904 bool           // bare numbers for days count from 1904
	zone     *time.Location // see Text

	fault    string   // why the cell can't be read, empty if it can
	warnings []string // doubts about it

	interned map[string]string
}

// reset takes another cell in hand, in UTF-8.
func (c *cell) reset(raw []byte) {
	c.raw, c.fault = unguard(raw), ""
	c.warnings = c.warnings[:0]
}

func (c *cell) warn(format string, args ...any) {
	c.warnings = append(c.warnings, fmt.Sprintf(format, args...))
}

// text gives the cell as it is, without space around it.
func (c *cell) text() string {
	return string(bytes.TrimSpace(c.raw))
}

// id gives a name that few rows share, cleaned: a run of spaces and control
// characters is one space.
func (c *cell) id() string {
	if isCleanASCII(c.raw) {
		return string(c.limited(c.raw))
	}
	clean := strings.Join(strings.FieldsFunc(c.text(), func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r) || r == '\ufeff'
	}), " ")
	return string(c.limited([]byte(clean)))
}

func (c *cell) limited(b []byte) []byte {
	if len(b) > maxLabel {
		c.fault = fmt.Sprintf("has %d bytes, at most %d can be read", len(b), maxLabel)
		return nil
	}
	return b
}

// reference gives the name of something else, or nothing.
func (c *cell) reference() string {
	if c.empty() {
		return ""
	}
	return c.id()
}

// label gives a name that many rows share; they share one copy.
func (c *cell) label() string {
	if s, ok := c.interned[string(c.raw)]; ok {
		return s
	}
	s := c.id()
	if c.interned != nil && len(c.interned) < maxInterned && c.fault == "" && len(c.raw) <= maxLabel {
		c.interned[string(c.raw)] = s
	}
	return s
}

// isCleanASCII tells whether id has nothing to do.
func isCleanASCII(b []byte) bool {
	space := byte(' ')
	for _, ch := range b {
		if ch < ' ' || ch >= 0x7f || ch == ' ' && space == ' ' {
			return false
		}
		space = ch
	}
	return len(b) == 0 || space != ' '
}

// empty tells whether the cell holds nothing, or a word for nothing.
func (c *cell) empty() bool {
	b := bytes.TrimSpace(c.raw)
	if len(b) == 0 || len(b) == 1 && (b[0] == '-' || b[0] == '?') {
		return true
	}
	// Most cells need no look-up: words for nothing that begin or end with a
	// digit are dates of years 0 and 1.
	if isDigit(b[len(b)-1]) && !(b[0] <= '1' && bytes.ContainsAny(b, "./-")) {
		return false
	}
	return len(b) <= 24 && word("blank", b) != ""
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// day reads the date of something that has happened: 1990-01-01 to latest.
func (c *cell) day() Opt[forecast.Date] { return c.date(c.latest) }

// plannedDay reads a date that may lie ahead: 1990-01-01 to ten years after
// latest.
func (c *cell) plannedDay() Opt[forecast.Date] { return c.date(c.latest + 3653) }

func (c *cell) date(last forecast.Date) (none Opt[forecast.Date]) {
	if len(c.raw) == 0 {
		return none
	}
	text, ok := parseDate(c.raw)
	if !ok {
		if !c.empty() {
			c.fault = "is not a date that can be read"
		}
		return none
	}
	if t, ok := parseInstant(c.raw); ok && c.zone != nil {
		text = dateOf(t.In(c.zone))
	}
	if text.serial > 0 && c.date1904 {
		text = serialDate(text.serial + days1904)
	}
	if c.evidence != nil {
		c.evidence.add(text, c.line, c.raw)
	}
	ordered, ok := text.inOrder(c.order)
	if !ok {
		c.fault = "may be day/month or month/day"
		return none
	}
	d, ok := ordered.date()
	switch {
	case !ok && c.empty():
		return none
	case !ok:
		c.fault = "is not a day"
		return none
	case d < firstDay || d > last:
		if !c.empty() {
			c.fault = fmt.Sprintf("is %v, need a day from %v to %v", d, firstDay, last)
		}
		return none
	}
	if text.shortYear {
		c.warn("was read as %v", d)
	}
	return Opt[forecast.Date]{d, true}
}

// hours reads the hours of one job, 0 to 2000; above 200 is doubted, and so is
// an amount of money.
func (c *cell) hours() Opt[float64] {
	h := c.between(parseHours, "hours", 0, maxHours)
	switch {
	case !h.Valid:
	case h.V > manyHours:
		c.warn("is %g hours on one job", h.V)
	case bytes.ContainsFunc(c.raw, isMoney):
		c.warn("is an amount of money, and was read as %g hours", h.V)
	}
	return h
}

func isMoney(r rune) bool { return unicode.Is(unicode.Sc, r) }

// weeklyHours reads paid hours a week.
func (c *cell) weeklyHours() Opt[float64] {
	h := c.between(parseHours, "hours a week", 0, 7*24)
	if h.Valid && h.V > 80 {
		c.warn("is %g hours a week", h.V)
	}
	return h
}

// days reads a number of days, 0 to 2000.
func (c *cell) days() Opt[float64] { return c.between(parseNumber, "days", 0, 2000) }

// money reads an hourly cost, 0 to 10,000.
func (c *cell) money() Opt[float64] { return c.between(parseNumber, "an hourly cost", 0, 10_000) }

// share reads 0.85 or 85%.
func (c *cell) share() Opt[float64] {
	number, isPercent := bytes.CutSuffix(bytes.TrimSpace(c.raw), []byte("%"))
	if !isPercent {
		return c.between(parseNumber, "a share", 0, 1)
	}
	c.raw = bytes.TrimSpace(number)
	p := c.between(parseNumber, "a percentage", 0, 100)
	p.V /= 100
	return p
}

type parser func(cell []byte, decimalComma bool) (v float64, doubtful, ok bool)

func (c *cell) between(parse parser, what string, low, high float64) (none Opt[float64]) {
	if len(c.raw) == 0 {
		return none
	}
	v, doubtful, ok := parse(c.raw, c.comma)
	switch {
	case !ok && c.empty():
		return none
	case !ok:
		c.fault = "is not a number that can be read as " + what
		return none
	case v < low || v > high:
		c.fault = fmt.Sprintf("is out of range, need %s from %g to %g", what, low, high)
		return none
	}
	if doubtful {
		c.warn("was read as %g", v)
	}
	return Opt[float64]{v, true}
}

// flag reads yes or no; blank is no.
func (c *cell) flag() Opt[bool] {
	switch b := bytes.TrimSpace(c.raw); {
	case len(b) == 0:
		return Opt[bool]{Valid: true}
	default:
		switch word("yes", b) {
		case "yes":
			return Opt[bool]{true, true}
		case "no":
			return Opt[bool]{Valid: true}
		}
	}
	if !c.empty() {
		c.fault = "is neither yes nor no"
	}
	return Opt[bool]{Valid: true}
}

// effect reads what an event does.
func (c *cell) effect() Effect {
	e := Effect(word("effect", []byte(c.text())))
	if e == "" && !c.empty() {
		c.fault = fmt.Sprintf("is not an effect, need %s, %s or %s", OneTime, Yearly, Known)
	}
	return e
}

// skills reads job kinds apart by semicolons and line breaks; all or nothing
// means all. Commas and slashes stand within the names of some kinds, and are
// for whoever knows the shop's; where a part is too long for a name, commas part
// it all the same.
func (c *cell) skills() []string {
	var kinds []string
	for k := range strings.FieldsFuncSeq(c.text(), func(r rune) bool { return r == ';' || r == '\n' || r == '\r' }) {
		parts := []string{k}
		if len(k) > maxLabel {
			parts = strings.Split(k, ",")
		}
		for _, k := range parts {
			if k = strings.Join(strings.Fields(k), " "); k != "" {
				kinds = append(kinds, cut(k, maxLabel))
			}
		}
	}
	if len(kinds) == 1 && Fold(kinds[0]) == "all" {
		return nil
	}
	return kinds
}
