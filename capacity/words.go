package capacity

import (
	"fmt"
	"math"

	"golang.org/x/text/language"
	"golang.org/x/text/message"

	"freshet/forecast"
)

// percent writes a chance without claiming that anything is sure.
func percent(p float64) string {
	switch {
	case p > .99 && p <= 1:
		return "over 99 %"
	case p < .01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// hours puts a number of hours in words; sums that round to just below 0 are 0.
func hours(h float64) string { return fmt.Sprintf("%.0f h", math.Round(h)+0) }

// money puts a cost in words, to the nearest ten, thousands apart.
func money(v float64) string {
	return message.NewPrinter(language.AmericanEnglish).Sprintf("$%d", int(math.Round(v/10)*10))
}

// dayName names a day of the coming year.
func dayName(d forecast.Date) string { return d.Time().Format("January 2") }

// longDay names a day of any year.
func longDay(d forecast.Date) string { return d.Time().Format("January 2, 2006") }

// daysName names a stretch of days.
func daysName(from, until forecast.Date) string {
	if from.Year() == until.Year() && from.Time().Month() == until.Time().Month() {
		return fmt.Sprintf("%s to %d", dayName(from), until.Time().Day())
	}
	return dayName(from) + " to " + dayName(until)
}

// plural counts things whose name takes an s.
func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
