package capacity

import (
	"freshet/forecast"

	"github.com/rickar/cal/v2"
	"github.com/rickar/cal/v2/us"
)

// afterThanksgiving isn't a federal holiday, but many shops close.
var afterThanksgiving = us.DayAfterThanksgivingDay

var holidayByName = func() map[string]*cal.Holiday {
	m := map[string]*cal.Holiday{afterThanksgiving.Name: afterThanksgiving}
	for _, h := range us.Holidays {
		m[h.Name] = h
	}
	return m
}()

// KnownHolidays gives the names that Calendar.Holidays may hold, in order of
// the year: the US federal holidays (5 USC 6103) and the day after
// Thanksgiving.
func KnownHolidays() []string {
	var names []string
	for _, h := range us.Holidays {
		names = append(names, h.Name)
		if h == us.ThanksgivingDay {
			names = append(names, afterThanksgiving.Name)
		}
	}
	return names
}

// DefaultHolidays gives the days on which a small shop usually closes (from
// memory; owners edit them).
func DefaultHolidays() []string {
	var names []string
	for _, h := range []*cal.Holiday{us.NewYear, us.MemorialDay, us.IndependenceDay, us.LaborDay,
		us.ThanksgivingDay, afterThanksgiving, us.ChristmasDay} {
		names = append(names, h.Name)
	}
	return names
}

// holiday tells whether one of the calendar's holidays closes the shop on d:
// the day itself, or, where it falls on a day on which the shop is shut
// anyway, the weekday on which it is observed.
func (c Calendar) holiday(d forecast.Date) bool {
	// The observed day of January 1 may lie in the year before.
	for year := (d - 3).Year(); year <= (d + 3).Year(); year++ {
		for _, name := range c.Holidays {
			h := holidayByName[name]
			if h == nil {
				continue
			}
			actual, observed := h.Calc(year)
			if actual.IsZero() {
				continue
			}
			kept := forecast.DateOf(actual)
			if c.Week[kept.Weekday()] == 0 {
				kept = forecast.DateOf(observed)
			}
			if kept == d {
				return true
			}
		}
	}
	return false
}
