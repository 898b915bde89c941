package ingest

import (
	"bytes"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// parseNumber reads a decimal number as people and spreadsheets write it:
// 1250, 1,250.00, 1.250,00, 1 250,5, 1'250, $12.50, 12,50 €, (3.5) and 3.5-
// for −3.5. Letters, and so NaN, Inf, hexadecimals and exponents, make it not
// a number.
//
// A lone separator before three digits may be either: 1,250 is 1250 and 1.250
// is 1.25, or the other way round where the file writes decimal commas. Taking
// it for thousands is doubtful.
func parseNumber(cell []byte, decimalComma bool) (v float64, doubtful, ok bool) {
	if v, ok := plainNumber(cell); ok && !decimalComma {
		return v, false, true
	}
	s, negative := unsigned(strings.TrimSpace(string(cell)))
	s, doubtful, ok = pointed(s, decimalComma)
	if !ok {
		return 0, false, false
	}
	v, err := strconv.ParseFloat(s, 64)
	if negative {
		v = -v
	}
	return v, doubtful, err == nil
}

// plainNumber is the fast way for digits with at most one point, up to 15 of
// them: then both parts of the quotient are exact, so it is correctly rounded
// (Clinger 1990, "How to read floating point numbers accurately").
func plainNumber(cell []byte) (v float64, ok bool) {
	if len(cell) == 0 || len(cell) > 16 {
		return 0, false
	}
	digits, point := 0, -1
	for i, c := range cell {
		switch {
		case '0' <= c && c <= '9':
			v = v*10 + float64(c-'0')
			digits++
		case c == '.' && point < 0:
			point = i
		default:
			return 0, false
		}
	}
	if digits == 0 || digits > 15 {
		return 0, false
	}
	if point >= 0 {
		v /= powersOfTen[len(cell)-1-point]
	}
	return v, true
}

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// unsigned takes signs, brackets and currencies off a number.
func unsigned(s string) (rest string, negative bool) {
	if inner, found := strings.CutPrefix(s, "("); found && strings.HasSuffix(inner, ")") {
		s, negative = inner[:len(inner)-1], true
	}
	money := func(r rune) bool { return unicode.Is(unicode.Sc, r) || unicode.IsSpace(r) }
	s = strings.TrimFunc(s, money)
	for _, code := range [...]string{"USD", "CAD", "AUD", "NZD", "EUR", "GBP", "CHF", "MXN"} {
		s = strings.TrimFunc(strings.TrimSuffix(strings.TrimPrefix(s, code), code), money)
	}
	if negative {
		return s, true
	}
	for _, minus := range [...]string{"-", "−"} {
		if rest, found := strings.CutPrefix(s, minus); found {
			return strings.TrimFunc(rest, money), true
		}
		if rest, found := strings.CutSuffix(s, minus); found {
			return strings.TrimFunc(rest, money), true
		}
	}
	return strings.TrimPrefix(s, "+"), false
}

// pointed rewrites digits with separators to digits with at most one point.
func pointed(s string, decimalComma bool) (digits string, doubtful, ok bool) {
	decimal := strings.LastIndexAny(s, ".,") // the byte that may be the decimal mark
	if decimal >= 0 {
		mark, after := s[decimal], len(s)-decimal-1
		other := strings.ContainsAny(s[:decimal], map[byte]string{'.': ",", ',': "."}[mark])
		switch n := strings.Count(s, s[decimal:decimal+1]); {
		case n > 1 && other: // 1.2,3,4
			return "", false, false
		case n > 1: // 1,250,000
			decimal = len(s)
		case !other && after == 3 && decimal <= 3 && decimal > 0 && s[0] != '0':
			if doubtful = (mark == ',') != decimalComma; doubtful {
				decimal = len(s)
			}
		}
	} else {
		decimal = len(s)
	}
	whole, fraction := s[:decimal], s[min(decimal+1, len(s)):]
	whole, ok = ungrouped(whole)
	if !ok || !allDigits(fraction) || whole+fraction == "" || len(whole) > 15 || len(fraction) > 30 {
		return "", false, false
	}
	return whole + "." + fraction, doubtful, true
}

// ungrouped takes the separators out of 1,250,000; they must all be the same,
// and every group after the first must have three digits.
func ungrouped(s string) (digits string, ok bool) {
	if allDigits(s) {
		return s, true
	}
	i := strings.IndexFunc(s, func(r rune) bool { return r < '0' || r > '9' })
	r, size := utf8.DecodeRuneInString(s[i:])
	if i == 0 || i > 3 || !strings.ContainsRune(".,'’ \u00a0\u202f\u2009", r) {
		return "", false
	}
	groups := strings.Split(s, s[i:i+size])
	for _, g := range groups[1:] {
		if len(g) != 3 || !allDigits(g) {
			return "", false
		}
	}
	return strings.Join(groups, ""), true
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// parseHours reads hours: any number, 1:30, 1:30:00, 1:30 h, 2h 30m, 2h30,
// 90 min, 1.5 hrs.
func parseHours(cell []byte, decimalComma bool) (v float64, doubtful, ok bool) {
	if v, doubtful, ok = parseNumber(cell, decimalComma); ok {
		return v, doubtful, true
	}
	if bytes.IndexByte(cell, ':') >= 0 {
		clock := strings.TrimSpace(string(cell))
		number := strings.TrimRightFunc(clock, func(r rune) bool { return !unicode.IsDigit(r) })
		if unit := clock[len(number):]; unit != "" && words()["unit"][Fold(unit)] != "h" {
			return 0, false, false
		}
		v, ok = clockHours(number)
		return v, false, ok
	}
	return unitHours(string(cell), decimalComma)
}

// clockHours reads h:mm and h:mm:ss.
func clockHours(s string) (v float64, ok bool) {
	scale := 1.0
	parts := strings.Split(s, ":")
	if len(parts) > 3 {
		return 0, false
	}
	for i, p := range parts {
		n, err := strconv.Atoi(p)
		if err != nil || !allDigits(p) || i > 0 && (len(p) != 2 || n > 59) {
			return 0, false
		}
		v += float64(n) * scale
		scale /= 60
	}
	return v, true
}

// unitHours reads numbers with units: hours, then minutes, each at most once.
// A last number without a unit counts minutes (2h30).
func unitHours(s string, decimalComma bool) (v float64, doubtful, ok bool) {
	last := ""
	for s = strings.TrimSpace(s); s != ""; {
		i := strings.IndexFunc(s, unicode.IsLetter)
		if i < 0 {
			i = len(s)
		}
		n, d, isNumber := parseNumber([]byte(strings.TrimSpace(s[:i])), decimalComma)
		rest := strings.TrimLeftFunc(s[i:], unicode.IsLetter)
		unit := words()["unit"][Fold(s[i:len(s)-len(rest)])]
		if i == len(s) && last == "h" {
			unit = "m"
		}
		switch {
		case !isNumber || n < 0 || unit == last || last == "m":
			return 0, false, false
		case unit == "h":
			v += n
		case unit == "m":
			v += n / 60
		default:
			return 0, false, false
		}
		last, doubtful = unit, doubtful || d
		s = strings.TrimLeft(rest, ". ,")
	}
	return v, doubtful, last != ""
}
