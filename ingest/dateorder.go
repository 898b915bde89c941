package ingest

import "fmt"

// A DateOrder says which of the two numbers before the year in 3/4/2025 is the
// day.
type DateOrder string

// The orders of a date's numbers. By default the order is inferred, column by
// column, from the first rows.
const (
	InferOrder DateOrder = ""
	DayMonth   DateOrder = "dmy"
	MonthDay   DateOrder = "mdy"
)

// ParseDateOrder finds an order by its name, dmy or mdy.
func ParseDateOrder(s string) (DateOrder, error) {
	if o := DateOrder(s); o == DayMonth || o == MonthDay {
		return o, nil
	}
	return InferOrder, fmt.Errorf("ingest: need the order of dates as %s or %s, have %q", DayMonth, MonthDay, s)
}

// AmbiguousDates is the error of a file in which nothing tells the day from
// the month. Set [Layout.DateOrder] and read it again.
type AmbiguousDates struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column string `json:"column"` // the file's header
	Value  string `json:"value"`  // one of the dates that may be read two ways
}

func (e *AmbiguousDates) Error() string {
	return fmt.Sprintf("ingest: %s:%d: %s %s may be day/month or month/day, and no date in the column tells; need the order said, %s or %s",
		e.File, e.Line, e.Column, e.Value, DayMonth, MonthDay)
}

// dateEvidence counts what the dates of one column tell about their order.
type dateEvidence struct {
	dayFirst, monthFirst int
	doubtful             int
	line                 int // of the first doubtful date
	value                string
}

// add weighs one date.
func (e *dateEvidence) add(d dateText, line int, value []byte) {
	switch {
	case !d.swappable || d.day == d.month:
	case d.day > 12 && d.month <= 12:
		e.dayFirst++
	case d.month > 12 && d.day <= 12:
		e.monthFirst++
	case d.day <= 12:
		if e.doubtful++; e.doubtful == 1 {
			e.line, e.value = line, string(value)
		}
	}
}

// order gives what the dates tell: an order, or InferOrder if they tell
// nothing or contradict each other.
func (e *dateEvidence) order() DateOrder {
	switch {
	case e.dayFirst > 0 && e.monthFirst == 0:
		return DayMonth
	case e.monthFirst > 0 && e.dayFirst == 0:
		return MonthDay
	}
	return InferOrder
}

// mixed tells whether the column holds both orders.
func (e *dateEvidence) mixed() bool { return e.dayFirst > 0 && e.monthFirst > 0 }

// inOrder puts day and month in their places. It isn't ok if the order isn't
// known and the date itself doesn't tell.
func (d dateText) inOrder(o DateOrder) (_ dateText, ok bool) {
	if !d.swappable {
		return d, true
	}
	switch {
	case o == MonthDay, o == InferOrder && d.month > 12:
		return d.swapped(), true
	case o == DayMonth, d.day > 12, d.day == d.month:
		return d, true
	}
	return d, false
}
