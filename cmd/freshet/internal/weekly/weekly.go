// Package weekly says which week's report is due.
//
// A schedule is five fields of cron text, read in the shop's time zone. The
// slot of a week is found on the civil clock and then turned into an instant,
// so that clock changes neither lose nor double one: a time that the spring
// change skips moves to the first instant after it, and one that comes twice
// in autumn is the first of the two.
//
// The package refuses to keep time: the caller says what time it is, as often
// as it likes, and asks whether the last slot has been served.
//
// To use it: Parse a schedule, and ask it for the Last slot before now.
package weekly

import (
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// Usual is the schedule of a shop that has said nothing: Mondays at six.
const Usual = "0 6 * * 1"

// Schedule is a weekly slot.
type Schedule struct{ plan cron.Schedule }

// Parse reads cron text of five fields.
func Parse(text string) (s Schedule, err error) {
	// The parser panics on some texts that name a zone, such as TZ=0.
	if strings.Contains(text, "=") || strings.HasPrefix(text, "@") {
		return s, fmt.Errorf("weekly: need a schedule such as %q, have %q", Usual, text)
	}
	s.plan, err = cron.ParseStandard(text)
	if err != nil {
		return s, fmt.Errorf("weekly: need a schedule such as %q, have %q: %w", Usual, text, err)
	}
	return s, nil
}

// lookBack is how far back a slot may lie and still be served.
const lookBack = 8 * 24 * time.Hour

// Last gives the newest slot at or before now, and false if none lies within
// the last eight days.
func (s Schedule) Last(now time.Time, loc *time.Location) (time.Time, bool) {
	var last time.Time
	// A day of slack on both sides: civil and true time differ by clock
	// changes.
	for c := s.plan.Next(civil(now.In(loc)).Add(-lookBack - 24*time.Hour)); !c.IsZero() && !c.After(civil(now.In(loc)).Add(24*time.Hour)); c = s.plan.Next(c) {
		if t := instant(c, loc); !t.After(now) {
			last = t
		}
	}
	return last, !last.IsZero() && now.Sub(last) <= lookBack
}

// civil gives the same clock face, tagged UTC.
func civil(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

// instant gives the moment at which clocks in loc first show c, or for a time
// that is skipped, the first moment after the gap.
func instant(c time.Time, loc *time.Location) time.Time {
	t := time.Date(c.Year(), c.Month(), c.Day(), c.Hour(), c.Minute(), 0, 0, loc)
	start, end := t.ZoneBounds()
	switch w := civil(t); {
	case w.Before(c):
		return end
	case w.After(c):
		return start
	}
	_, before := start.Add(-time.Second).Zone()
	if u := c.Add(-time.Duration(before) * time.Second); u.Before(start) {
		return u.In(loc)
	}
	return t
}
