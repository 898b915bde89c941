package web

import (
	"fmt"
	"math"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/report"
)

// moved is one week of the outlook and what makes it, in words and as cells.
type moved struct {
	desk.OutlookWeek
	Says  []string // sentences
	Cells []string // usual week, time of year, open days, all else
	Named string   // events
}

// slight is a factor too near to 1 to be worth a word.
const slight = .05

// movesOf says what makes each week.
func movesOf(weeks []desk.OutlookWeek, moves []desk.Move) []moved {
	out := make([]moved, len(weeks))
	for i, w := range weeks {
		m := moves[i]
		out[i] = moved{OutlookWeek: w, Says: saysOf(w, m), Named: strings.Join(m.Events, ", "),
			Cells: []string{fmt.Sprintf("%.1f", m.Level), times(m.Season), daysOf(m.OpenDays, m.UsualDays), times(m.Rest)}}
		if !m.SeasonKnown {
			out[i].Cells[1] = "not known"
		}
		if m.OpenDays == 0 {
			out[i].Cells[3] = "–"
		}
	}
	return out
}

func times(f float64) string { return fmt.Sprintf("× %.2f", f) }

func daysOf(open, usual float64) string {
	days := func(v float64) float64 { return math.Round(100*v) / 100 } // shares of days add up to 0.30000000000000004
	return fmt.Sprintf("%g of %g days", days(open), days(usual))
}

// saysOf gives the sentences on a week.
func saysOf(w desk.OutlookWeek, m desk.Move) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	say("%s expected in the week of %s; in 8 weeks of 10 like it, %s.", report.Count(w.DropOffs.Mean, "drop-off"), report.LongDay(w.Week), report.Range(w.DropOffs))
	if m.OpenDays == 0 {
		say("The shop is closed all week. What is expected all the same is what such weeks brought before.")
		return out
	}
	have := m.Level
	say("Lately a week brings %.1f, with the time of year and closed days taken out.", have)
	step := func(factor float64, what string) {
		have *= factor
		say("%s %s: that makes %.1f.", what, changes(factor), have)
	}
	switch {
	case !m.SeasonKnown:
		say("What the time of year does isn't known yet: that takes a year of records.")
	default:
		step(m.Season, "This time of year")
	}
	if m.OpenDays != m.UsualDays {
		why := ""
		if len(m.Holidays) > 0 {
			why = fmt.Sprintf(" (closed on %s)", strings.Join(m.Holidays, ", "))
		}
		step(m.OpenDays/m.UsualDays, fmt.Sprintf("The shop is open %s%s, which", daysOf(m.OpenDays, m.UsualDays), why))
	}
	if len(m.Events) > 0 {
		say("In this week: %s.", strings.Join(m.Events, ", "))
	}
	if math.Abs(m.Rest-1) > slight || len(m.Events) > 0 {
		what := "What else the last weeks and years tell"
		if len(m.Events) > 0 {
			what = "That, and what else the last weeks and years tell,"
		}
		step(m.Rest, what)
	}
	if w.Hours.Known() && w.DropOffs.Mean > 0 {
		say("That is %s hours of work, %.1f a drop-off.", report.Whole(w.Hours.Mean), w.Hours.Mean/w.DropOffs.Mean)
	}
	return out
}

// changes says what a factor does.
func changes(factor float64) string {
	switch {
	case math.Abs(factor-1) <= slight:
		return "changes little"
	case factor >= 2:
		return fmt.Sprintf("makes it %.1f times as many", factor)
	case factor > 1:
		return fmt.Sprintf("brings %.0f %% more", 100*(factor-1))
	}
	return fmt.Sprintf("brings %.0f %% less", 100*(1-factor))
}
