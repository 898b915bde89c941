package ingest

import (
	"bytes"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"freshet/forecast"
)

// A dateText is a date as written, before it is known which number is the day.
type dateText struct {
	year, month, day int
	swappable        bool // month and day may be the other way round: it was written a/b/year, read as day a, month b
	shortYear        bool // the year had two digits
	serial           int  // it was written as a spreadsheet's serial number, if above 0
}

// parseDate reads a date in any of the forms
//
//	2025-03-31  2025/3/31  20250331
//	31/3/2025  3/31/2025  31-03-25      swappable
//	31.3.2025  31. 3. 25                always day first
//	31 Mar 2025  31-Mar-25  March 31st, 2025  Mo, 31. März 2025  31 de marzo de 2025
//	45747  45747.52                     a spreadsheet's serial number, counted from 1899-12-30 (see Text)
//
// and drops a time of day after it, but see parseInstant. Years of two digits are 1970 to 2069. It
// doesn't check that the calendar has the day; see date.
func parseDate(cell []byte) (d dateText, ok bool) {
	s := bytes.TrimSpace(cell)
	if d, ok := isoDate(s); ok {
		return d, true
	}
	if d, ok := bareNumberDate(s); ok {
		return d, true
	}
	var p dateParts
	rest, ok := p.scan(s)
	if !ok || !isTimeOfDay(rest) {
		return d, false
	}
	return p.date()
}

// isoDate is the fast way for YYYY-MM-DD, with or without a time.
func isoDate(s []byte) (d dateText, ok bool) {
	if len(s) < 10 || s[4] != '-' || s[7] != '-' {
		return d, false
	}
	y, ok1 := digits(s[:4])
	m, ok2 := digits(s[5:7])
	day, ok3 := digits(s[8:10])
	if !ok1 || !ok2 || !ok3 || len(s) > 10 && !isTimeOfDay(s[10:]) {
		return d, false
	}
	return dateText{year: y, month: m, day: day}, true
}

// bareNumberDate reads YYYYMMDD and spreadsheet serial numbers.
func bareNumberDate(s []byte) (d dateText, ok bool) {
	whole := s
	if i := bytes.IndexAny(s, ".,"); i == 5 {
		if _, ok := digits(s[6:]); !ok && len(s) > 6 {
			return d, false
		}
		whole = s[:i]
	}
	if n, ok := digits(whole); ok && len(whole) == 5 {
		return serialDate(n), true
	}
	if len(s) < 8 || !isTimeOfDay(s[8:]) {
		return d, false
	}
	n, ok := digits(s[:8])
	return dateText{year: n / 10000, month: n / 100 % 100, day: n % 100}, ok
}

// days1904 is how many days after 1899-12-30 the other epoch begins: serial
// numbers count from one or the other.
const days1904 = 1462

func serialDate(n int) dateText {
	const epoch = 25569 // 1970-01-01
	d := dateOf(forecast.Date(n - epoch).Time())
	d.serial = n
	return d
}

func dateOf(t time.Time) dateText {
	return dateText{year: t.Year(), month: int(t.Month()), day: t.Day()}
}

// instants are the ways of writing a moment that parseInstant reads, when its T
// stands, and nothing stands before its offset. Fractions of a second may be
// there in any of them.
var instants = []string{"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04:05Z0700", "2006-01-02T15:04:05Z07", "2006-01-02T15:04Z07:00", "2006-01-02T15:04Z0700", "2006-01-02T15:04Z07"}

// parseInstant reads a moment that says where it is by an offset: YYYY-MM-DD with
// a time and Z, UTC, GMT or ±hh:mm. Midnight in UTC, to the second, is none: so
// programs write a day that has no time.
func parseInstant(cell []byte) (t time.Time, ok bool) {
	s := bytes.TrimSpace(cell)
	const plain = len("2006-01-02T15:04")
	if len(s) <= plain || len(s) > 40 || s[4] != '-' || s[10] != 'T' && s[10] != ' ' || !bytes.ContainsAny(s[plain:], "Z+-UG") {
		return t, false
	}
	text := string(s[:10]) + "T" + strings.ReplaceAll(string(s[11:]), " ", "")
	for _, name := range []string{"UTC", "GMT"} {
		if at, ok := strings.CutSuffix(text, name); ok {
			text = at + "Z"
		}
	}
	for _, layout := range instants {
		if t, err := time.Parse(layout, text); err == nil {
			_, offset := t.Zone()
			return t, offset != 0 || t.Truncate(24*time.Hour) != t
		}
	}
	return t, false
}

// digits reads a short run of ASCII digits.
func digits(s []byte) (n int, ok bool) {
	if len(s) == 0 || len(s) > 18 {
		return 0, false
	}
	for _, c := range s {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}

// dateParts are the numbers of a date in the order written, and the month if
// it was named.
type dateParts struct {
	numbers, widths [3]int
	n               int  // numbers seen
	month           int  // the named month, or 0
	monthAt         int  // how many numbers came before it
	sep             byte // what stands between the numbers; 0 if they differ
}

// scan takes the parts of a date off the front of s.
func (p *dateParts) scan(s []byte) (rest []byte, ok bool) {
	var seps [2]byte
	for len(s) > 0 && !(p.n == 3 || p.n == 2 && p.month > 0) {
		r, size := utf8.DecodeRune(s)
		switch {
		case '0' <= r && r <= '9':
			i := 0
			for i < len(s) && '0' <= s[i] && s[i] <= '9' {
				i++
			}
			p.numbers[p.n], ok = digits(s[:i])
			p.widths[p.n] = i
			if !ok || i > 4 {
				return nil, false
			}
			p.n++
			s = s[i:]
		case unicode.IsLetter(r):
			i := bytes.IndexFunc(s, func(r rune) bool { return !unicode.IsLetter(r) })
			if i < 0 {
				i = len(s)
			}
			if m, err := strconv.Atoi(word("month", s[:i])); err == nil {
				if p.month > 0 {
					return nil, false
				}
				p.month, p.monthAt = m, p.n
			} else if word("filler", s[:i]) == "" {
				return nil, false
			}
			s = s[i:]
		case r == '/' || r == '.' || r == '-':
			if p.n == 0 && p.month == 0 && r != '.' {
				return nil, false
			}
			if p.n > 0 && p.n < 3 && seps[p.n-1] == 0 {
				seps[p.n-1] = s[0]
			} else if p.month == 0 && p.n > 0 {
				return nil, false // 1//2/2025
			}
			s = s[size:]
		case r == ' ' || r == ',' || r == '\'' || r == '’' || r == '\u00a0':
			s = s[size:]
		default:
			return nil, false
		}
	}
	if seps[0] == seps[1] {
		p.sep = seps[0]
	}
	return s, p.n == 3 || p.n == 2 && p.month > 0
}

// date puts the parts in order.
func (p *dateParts) date() (d dateText, ok bool) {
	n, w := p.numbers, p.widths
	year := 2 // index of the year
	switch {
	case p.month > 0 && p.monthAt == 1 && w[0] == 4: // 2025-Mar-31
		year, d.month, d.day = 0, p.month, n[1]
	case p.month > 0: // 31 Mar 2025, Mar 31 2025
		year, d.month, d.day = 1, p.month, n[0]
	case p.sep == 0:
		return d, false
	case w[0] == 4:
		year, d.month, d.day = 0, n[1], n[2]
	default:
		d.day, d.month, d.swappable = n[0], n[1], p.sep != '.'
	}
	d.year = n[year]
	switch w[year] {
	case 4:
	case 2:
		d.shortYear = true
		if d.year += 1900; d.year < 1970 {
			d.year += 100
		}
	default:
		return d, false
	}
	for i := range p.n {
		if i != year && w[i] > 2 {
			return d, false
		}
	}
	return d, true
}

// date gives the day, if the calendar has it.
func (d dateText) date() (day forecast.Date, ok bool) {
	if d.month < 1 || d.month > 12 || d.day < 1 || d.day > 31 {
		return 0, false
	}
	day = forecast.NewDate(d.year, time.Month(d.month), d.day)
	return day, d.day <= 28 || day.Time().Day() == d.day
}

func (d dateText) swapped() dateText {
	d.month, d.day = d.day, d.month
	return d
}

// isTimeOfDay tells whether what follows a date is nothing, or a time that may
// be dropped: T14:30:00Z, 2:30 PM, 14.30 Uhr, 14h30, 14:30:00.000 +0100.
func isTimeOfDay(s []byte) bool {
	t := bytes.TrimSpace(s)
	if len(t) == 0 {
		return true
	}
	if len(t) > 24 || len(t) == len(s) && t[0] != 'T' && t[0] != ',' {
		return false
	}
	t = bytes.TrimLeft(t, "T, ")
	if len(t) == 0 {
		return false
	}
	i := 0
	for i < len(t) && '0' <= t[i] && t[i] <= '9' {
		i++
	}
	hour, ok := digits(t[:i])
	if !ok || hour > 24 || i > 2 {
		return false
	}
	clock := false
	for i < len(t) && (t[i] == ':' || t[i] == '.' || t[i] == 'h') {
		clock = true
		for i++; i < len(t) && '0' <= t[i] && t[i] <= '9'; i++ {
		}
	}
	zone := bytes.TrimSpace(t[i:])
	if len(zone) == 0 {
		return clock
	}
	for i, c := range zone {
		letter := c >= utf8.RuneSelf || unicode.IsLetter(rune(c)) || c == '.' || c == ' '
		if i == 0 && (c == '+' || c == '-') || letter || '0' <= c && c <= '9' || c == ':' {
			continue
		}
		return false
	}
	return (clock || zone[0]|0x20 == 'a' || zone[0]|0x20 == 'p') && len(zone) <= 10
}
