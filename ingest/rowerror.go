package ingest

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// A RowError says what is wrong, or doubtful, with one row of a file.
type RowError struct {
	File   string
	Line   int    // the physical line, from 1, at which the row starts
	Column string // the file's own header; empty where the whole row is meant
	Value  string // the cell as it stands, cut to 200 bytes
	Reason string // reads on after column and value: "is not a day"
}

const maxShown = 200

// Reasons of rows that are no records at all: there is nothing in them to mend.
const (
	ReasonTotals = "looks like a totals line"
	ReasonAgain  = "repeats the header"
)

// NoRecord tells whether the row holds no record that could be mended.
func (e *RowError) NoRecord() bool { return e.Reason == ReasonTotals || e.Reason == ReasonAgain }

// Error gives such as "drop-offs.csv:17: promised date 2026-02-30 is not a day".
func (e *RowError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d: ", e.File, e.Line)
	if e.Column != "" {
		b.WriteString(e.Column + " ")
	}
	if e.Value != "" {
		b.WriteString(shown(e.Value) + " ")
	}
	return b.String() + e.Reason
}

// shown gives a value as it is where that reads well, else quoted.
func shown(s string) string {
	if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f || r == utf8.RuneError }) {
		return fmt.Sprintf("%q", s)
	}
	return s
}

// cut shortens s to at most n bytes, at a character's boundary.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}
