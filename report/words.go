package report

import (
	"fmt"
	"math"
	"strings"

	"freshet/forecast"
)

// Day writes a day as people do, such as "January 2". The year is left out, as
// a report looks a year ahead at most.
func Day(d forecast.Date) string { return d.Time().Format("January 2") }

// LongDay writes a day with its weekday and year.
func LongDay(d forecast.Date) string { return d.Time().Format("Monday, January 2, 2006") }

// WeekDay writes a day with its weekday, as one says it.
func WeekDay(d forecast.Date) string { return d.Time().Format("Monday, January 2") }

// WeekDayFrom writes a day with its weekday as one says it on another day: with
// the year where that is another one.
func WeekDayFrom(d, today forecast.Date) string {
	if d.Time().Year() != today.Time().Year() {
		return LongDay(d)
	}
	return WeekDay(d)
}

// DayFrom writes a day as one says it on another day: with the year where that
// is another one.
func DayFrom(d, today forecast.Date) string {
	if d.Time().Year() != today.Time().Year() {
		return d.Time().Format("January 2, 2006")
	}
	return Day(d)
}

// Dollars writes an amount that is estimated, to three figures.
func Dollars(v float64) string {
	if a := math.Abs(v); a >= 1000 && !math.IsInf(a, 0) {
		step := math.Pow(10, math.Floor(math.Log10(a))-2)
		v = math.Round(v/step) * step
	}
	return "$" + Whole(v)
}

// Whole writes a number without decimals, a half rounded away from zero,
// thousands apart; "not known" for what isn't finite.
func Whole(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	v = math.Round(v)
	s := fmt.Sprintf("%.0f", math.Abs(v))
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if v < 0 {
		s = "-" + s
	}
	return s
}

// Count writes a number with its unit, one or several.
func Count(v float64, unit string) string {
	if math.Round(v) == 1 {
		return "1 " + unit
	}
	return Whole(v) + " " + unit + "s"
}

// Range writes a spread's middle eight tenths.
func Range(s forecast.Spread) string {
	if !s.Known() {
		return "not known"
	}
	return Whole(s.P10) + " to " + Whole(s.P90)
}

func lower(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
