package capacity

import (
	"sync"

	"freshet/forecast"

	"github.com/rickar/cal/v2"
	"github.com/rickar/cal/v2/us"
)

// afterThanksgiving isn't a federal holiday, but many shops close.
var afterThanksgiving = us.DayAfterThanksgivingDay.Clone(&cal.Holiday{Name: "Day after Thanksgiving"})

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

// Holiday names the one of the calendar's holidays that closes the shop on d:
// the day itself, or, where it falls on a day on which the shop is shut anyway,
// the weekday on which it is observed. It is "" where none does. Days that are
// exceptions are none of its business.
func (c Calendar) Holiday(d forecast.Date) string {
	if c.Week[d.Weekday()] == 0 {
		return ""
	}
	// The observed day of January 1 may lie in the year before.
	for year := (d - 3).Year(); year <= (d + 3).Year(); year++ {
		days := holidaysIn(year)
		for _, name := range c.Holidays {
			h, ok := days[name]
			if ok && c.Week[h.actual.Weekday()] == 0 {
				h.actual = h.observed
			}
			if ok && h.actual == d {
				return name
			}
		}
	}
	return ""
}

type holiday struct{ actual, observed forecast.Date }

// holidays has those of the years asked about, by year and name: plans ask for
// the same few again and again.
var holidays sync.Map

func holidaysIn(year int) map[string]holiday {
	if days, ok := holidays.Load(year); ok {
		return days.(map[string]holiday)
	}
	days := map[string]holiday{}
	for name, h := range holidayByName {
		if actual, observed := h.Calc(year); !actual.IsZero() {
			days[name] = holiday{forecast.DateOf(actual), forecast.DateOf(observed)}
		}
	}
	holidays.Store(year, days)
	return days
}
