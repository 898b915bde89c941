// Package calendar turns holidays and other dated events into regressors:
// quantities that are known for the past and for the future.
//
// Demand moves around a holiday, not only on it, and moving holidays such as
// Easter shift it between weeks of the year, which no fixed season can follow.
//
// The package holds what moves demand, not when a shop is closed, and refuses
// to know more of a country's holidays than the few below: any other is a
// list of days.
//
// To use it: make an [Occasion] with [Yearly] or [On], turn it into
// regressors with [Around], and give those to a model.
package calendar

import (
	"slices"
	"time"

	"freshet/forecast"
)

// Regressor is a named quantity that is known for every step: At gives it for
// the step of so many days from the day start. At must be a pure function with
// finite values, and the effect of its value on demand is what a model
// estimates.
type Regressor struct {
	Name string
	At   func(start forecast.Date, days int) float64
}

// Occasion tells whether something happens on a day from first to last,
// both included.
type Occasion func(first, last forecast.Date) bool

// Yearly is the occasion that falls on one day of each calendar year, such as
// Yearly(Easter).
func Yearly(day func(year int) forecast.Date) Occasion {
	return func(first, last forecast.Date) bool {
		for y := first.Year(); y <= last.Year(); y++ {
			if d := day(y); first <= d && d <= last {
				return true
			}
		}
		return false
	}
}

// On is the occasion of the given days, in any order: school breaks, a show in
// town, a storm. Days that haven't come yet should be among them if known.
func On(days ...forecast.Date) Occasion {
	days = slices.Sorted(slices.Values(days))
	return func(first, last forecast.Date) bool {
		i, _ := slices.BinarySearch(days, first)
		return i < len(days) && days[i] <= last
	}
}

// Around gives three regressors, 1 or 0: the step before one that holds the
// occasion, that step, and the step after.
func Around(name string, o Occasion) []Regressor {
	shifted := func(label string, shift int) Regressor {
		return Regressor{Name: label + name, At: func(start forecast.Date, days int) float64 {
			first := start + forecast.Date(shift*days)
			if o(first, first+forecast.Date(days-1)) {
				return 1
			}
			return 0
		}}
	}
	return []Regressor{shifted("before ", 1), shifted("", 0), shifted("after ", -1)}
}

// Easter gives Easter Sunday of the Gregorian calendar, by the anonymous
// computus (Meeus 1991, chapter 8; also known as Meeus/Jones/Butcher).
func Easter(year int) forecast.Date {
	a, b, c := year%19, year/100, year%100
	d, e := b/4, b%4
	f := (b + 8) / 25
	g := (b - f + 1) / 3
	h := (19*a + b - d - g + 15) % 30
	i, k := c/4, c%4
	l := (32 + 2*e + 2*i - h - k) % 7
	m := (a + 11*h + 22*l) / 451
	v := h + l - 7*m + 114
	return forecast.NewDate(year, time.Month(v/31), v%31+1)
}

// MemorialDay gives the last Monday of May (5 USC 6103).
func MemorialDay(year int) forecast.Date { return forecast.NewDate(year, time.May, 31).Monday() }

// IndependenceDay gives 4 July.
func IndependenceDay(year int) forecast.Date { return forecast.NewDate(year, time.July, 4) }

// LaborDay gives the first Monday of September (5 USC 6103).
func LaborDay(year int) forecast.Date { return forecast.NewDate(year, time.September, 7).Monday() }

// Thanksgiving gives the fourth Thursday of November (5 USC 6103).
func Thanksgiving(year int) forecast.Date {
	return forecast.NewDate(year, time.November, 25).Monday() + 3
}
