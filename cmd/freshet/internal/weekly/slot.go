package weekly

import (
	"fmt"
	"strings"
	"time"
)

// A Slot is a schedule of one day and one time of the week, which is how
// people say it.
type Slot struct {
	Day  int    // 0 for Sunday
	Time string // 06:00
}

// ReadSlot reads a schedule's text; ok is false where it is more than a day
// and a time.
func ReadSlot(text string) (s Slot, ok bool) {
	var minute, hour int
	if n, err := fmt.Sscanf(text, "%d %d * * %d", &minute, &hour, &s.Day); n != 3 || err != nil {
		return s, false
	}
	s.Day %= 7
	s.Time = fmt.Sprintf("%02d:%02d", hour, minute)
	return s, s.Schedule() == strings.Join(strings.Fields(text), " ")
}

// Schedule gives the text that Parse reads, which checks it; it is empty if
// the time can't be read.
func (s Slot) Schedule() string {
	t, err := time.Parse("15:04", s.Time)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("%d %d * * %d", t.Minute(), t.Hour(), s.Day)
}

// String says it in words: Mondays at 06:00.
func (s Slot) String() string { return fmt.Sprintf("%ss at %s", time.Weekday(s.Day), s.Time) }
