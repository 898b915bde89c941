package report

import (
	"fmt"
	"strings"

	"freshet/forecast"
)

// QuotesDue is the quotes whose date fell into the last complete week.
type QuotesDue struct {
	From   forecast.Date `json:"from"`
	Until  forecast.Date `json:"until"`
	Quotes []QuoteDue    `json:"quotes"`
}

// QuoteDue is one date that a customer was told, the one that holds 8 times out
// of 10, and what came of it.
type QuoteDue struct {
	RO    string         `json:"ro"`
	Kind  string         `json:"kind"`
	By    forecast.Date  `json:"by"`
	Known bool           `json:"known"` // its repair order is on record
	Ready *forecast.Date `json:"ready"` // nil while it isn't ready
}

// Kept tells whether the date held.
func (q QuoteDue) Kept() bool { return q.Ready != nil && *q.Ready <= q.By }

// String says how last week's quotes turned out, in a sentence or two; nothing
// where none fell due.
func (d *QuotesDue) String() string {
	if d == nil {
		return ""
	}
	kept, known := 0, 0
	var missed []string
	for _, q := range d.Quotes {
		switch {
		case !q.Known:
			continue
		case q.Kept():
			kept++
		case q.Ready != nil:
			missed = append(missed, fmt.Sprintf("order %s (%s) was quoted for %s and ready on %s", q.RO, q.Kind, Day(q.By), Day(*q.Ready)))
		default:
			missed = append(missed, fmt.Sprintf("order %s (%s) was quoted for %s and isn't ready", q.RO, q.Kind, Day(q.By)))
		}
		known++
	}
	var out []string
	if known > 0 {
		verb := "were"
		if kept == 1 {
			verb = "was"
		}
		out = append(out, fmt.Sprintf("Of %s that fell due last week, %d %s kept; 8 in 10 should be.", Count(float64(known), "quoted date"), kept, verb))
	}
	if n := len(missed); n > 0 {
		const most = 5
		more := ""
		if n > most {
			more = fmt.Sprintf("; and %d more", n-most)
			missed = missed[:most]
		}
		out = append(out, "Missed: "+strings.Join(missed, "; ")+more+".")
	}
	switch n := len(d.Quotes) - known; {
	case n == 1:
		out = append(out, "1 quote that fell due last week names no repair order on record, so that nobody can tell whether it held.")
	case n > 1:
		out = append(out, fmt.Sprintf("%d quotes that fell due last week name no repair order on record, so that nobody can tell whether they held.", n))
	}
	return strings.Join(out, " ")
}
