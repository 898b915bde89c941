package forecast

import (
	"fmt"
	"time"
)

// Date is a civil day, counted from 1970-01-01. A day is a day across clock
// changes: adding one always gives the next calendar day.
type Date int32

const (
	isoDay = "2006-01-02"
	day    = 24 * time.Hour
)

// NewDate gives the Date of a year, month and day of the proleptic Gregorian
// calendar. Out-of-range days roll over as in time.Date.
func NewDate(year int, month time.Month, dayOfMonth int) Date {
	return Date(time.Date(year, month, dayOfMonth, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// DateOf gives the civil day that t falls on in t's own location.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return NewDate(y, m, d)
}

// ParseDate reads YYYY-MM-DD and refuses days that the calendar doesn't have.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(isoDay, s)
	if err != nil {
		return 0, fmt.Errorf("forecast: need a day as YYYY-MM-DD, have %q", s)
	}
	return DateOf(t), nil
}

// Time gives midnight UTC of the day, for formatting.
func (d Date) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// String gives YYYY-MM-DD.
func (d Date) String() string { return d.Time().Format(isoDay) }

// MarshalText gives YYYY-MM-DD, so that JSON holds dates as people write them.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText is the inverse of MarshalText.
func (d *Date) UnmarshalText(b []byte) error {
	v, err := ParseDate(string(b))
	if err == nil {
		*d = v
	}
	return err
}

// Weekday gives the day of the week.
func (d Date) Weekday() time.Weekday {
	// 1970-01-01 was a Thursday.
	return time.Weekday(((int(d)+4)%7 + 7) % 7)
}

// Monday gives the Monday of the ISO 8601 week that holds d.
func (d Date) Monday() Date { return d - Date((int(d.Weekday())+6)%7) }

// Year gives the calendar year.
func (d Date) Year() int { return d.Time().Year() }

// ISOWeek gives the ISO 8601 year and week number.
func (d Date) ISOWeek() (year, week int) { return d.Time().ISOWeek() }
