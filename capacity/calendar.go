package capacity

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"freshet/forecast"
)

// Calendar tells which days the shop is open, how much of a usual day, and for
// how many technicians at once.
type Calendar struct {
	// Week is the share of a usual day by time.Weekday, Sunday first: 0
	// closed, 1 open, 0.5 a half day. Weekly hours are spread over it.
	Week [7]float64
	// Holidays are names out of KnownHolidays on which the shop closes.
	Holidays []string
	// Days are exceptions, which win over week and holidays: 0 for a day
	// closed, 1 for a Saturday opened, 0.5 for half of Christmas Eve.
	Days map[forecast.Date]float64
	// Bays is how many technicians can work at once; 0 is no limit.
	Bays int
}

// DefaultCalendar is open Monday to Friday but for DefaultHolidays.
func DefaultCalendar() Calendar {
	return Calendar{Week: [7]float64{0, 1, 1, 1, 1, 1, 0}, Holidays: DefaultHolidays()}
}

// maxShare allows for a long day and catches a slip such as 8 for hours.
const maxShare = 2

// Check reports what makes the calendar unusable: a week that never opens, a
// share outside 0 to 2, fewer than 0 bays, or a holiday that isn't known.
func (c Calendar) Check() error {
	for d, share := range c.Week {
		if !(share >= 0 && share <= maxShare) {
			return fmt.Errorf("capacity: need %vs open for a share from 0 to %d of a day, have %v", time.Weekday(d), maxShare, share)
		}
	}
	if c.Bays < 0 {
		return fmt.Errorf("capacity: need 0 bays (no limit) or more, have %d", c.Bays)
	}
	if c.UsualDays() == 0 {
		return errors.New("capacity: need at least 1 weekday on which the shop opens, have 0")
	}
	for _, d := range slices.Sorted(maps.Keys(c.Days)) {
		if share := c.Days[d]; !(share >= 0 && share <= maxShare) {
			return fmt.Errorf("capacity: need %s open for a share from 0 to %d of a day, have %v", longDay(d), maxShare, share)
		}
	}
	for _, name := range c.Holidays {
		if holidayByName[name] == nil {
			return fmt.Errorf("capacity: need one of these holidays: %s; have %q", strings.Join(KnownHolidays(), ", "), name)
		}
	}
	return nil
}

// UsualDays gives the open days of a week without exceptions.
func (c Calendar) UsualDays() float64 {
	sum := 0.0
	for _, share := range c.Week {
		sum += share
	}
	return sum
}

// OpenShare gives the share of a usual day that the shop is open on d.
func (c Calendar) OpenShare(d forecast.Date) float64 {
	if share, ok := c.Days[d]; ok {
		return share
	}
	share := c.Week[d.Weekday()]
	if c.Holiday(d) != "" {
		return 0
	}
	return share
}

// OpenDays gives the usual days' worth that the shop is open from the first
// day to the day before until; 0 if that is no day.
func (c Calendar) OpenDays(from, until forecast.Date) float64 {
	sum := 0.0
	for d := from; d < until; d++ {
		sum += c.OpenShare(d)
	}
	return sum
}

// NextOpen gives d if the shop opens on it, else the next day on which it
// does. It panics if there is none within ten years, which Check and a sane
// list of exceptions rule out.
func (c Calendar) NextOpen(d forecast.Date) forecast.Date { return c.AddOpenDays(d, 0) }

// AddOpenDays gives the first open day, d or later, by whose morning n usual
// days have been open since the morning of d. A job of one day begun on a
// Friday morning frees the bay on Monday. It panics as NextOpen does, within
// ten years beyond the days asked for, and unless n is from 0 to a million.
func (c Calendar) AddOpenDays(d forecast.Date, n float64) forecast.Date {
	const tenYears, rounding, most = 3653, 1e-9, 1e6
	if !(n >= 0 && n <= most) {
		panic(fmt.Sprintf("capacity: need 0 to %.0f open days, have %v", most, n))
	}
	done := 0.0
	for shut := 0; shut < tenYears; d++ {
		share := c.OpenShare(d)
		switch {
		case share == 0:
			shut++
			continue
		case done >= n-rounding:
			return d
		}
		shut = 0
		done += share
	}
	panic(fmt.Sprintf("capacity: the shop doesn't open in the ten years before %s", longDay(d)))
}

// with gives a calendar with further exceptions, leaving c as it is.
func (c Calendar) with(days map[forecast.Date]float64) Calendar {
	merged := maps.Clone(days)
	maps.Copy(merged, c.Days)
	c.Days = merged
	return c
}

// saturdays gives an exception of the share for each Saturday from the first
// day to the day before until on which the shop would be closed by its week
// alone. A holiday or a closed day stays closed.
func (c Calendar) saturdays(from, until forecast.Date, share float64) map[forecast.Date]float64 {
	days := map[forecast.Date]float64{}
	if c.Week[time.Saturday] > 0 {
		return days
	}
	open := c
	open.Week[time.Saturday] = share
	for d := from; d < until; d++ {
		if d.Weekday() != time.Saturday {
			continue
		}
		if _, set := c.Days[d]; !set && open.OpenShare(d) > 0 {
			days[d] = share
		}
	}
	return days
}
