package main

import (
	"fmt"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/report"

	"github.com/spf13/cobra"
)

func (a *app) watch() *cobra.Command {
	return &cobra.Command{Use: "watch", Short: "Weeks, seasons and job kinds that don't fit, and what may be behind it", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
		return answer(a, c, func(d *desk.Desk, ask desk.Ask) (desk.Watch, []string, error) {
			w, err := d.Watch(c.Context(), ask)
			return w, w.Warnings, err
		}, a.showWatch)
	}}
}

func (a *app) showWatch(w desk.Watch) error {
	if len(w.Alerts) == 0 {
		fmt.Fprintln(a.out, "Nothing is out of the ordinary.")
	}
	for _, x := range w.Alerts {
		kind := ""
		if x.Kind != "all" {
			kind = " (" + x.Kind + ")"
		}
		fmt.Fprintf(a.out, "%s%s, since %s\n  %s\n", strings.ToUpper(x.Rule[:1])+x.Rule[1:], kind, x.Since, x.Summary)
	}
	if s := w.Season; s.ShiftDays.Known() {
		fmt.Fprintf(a.out, "\nThe %d season: %s. It runs %s (8 chances in 10: %s), at %.0f %% of its usual strength (%.0f to %.0f %%).\n",
			s.Year, s.Verdict, days(s.ShiftDays.P50), daysRange(s.ShiftDays), 100*s.LevelRatio.P50, 100*s.LevelRatio.P10, 100*s.LevelRatio.P90)
	} else {
		fmt.Fprintf(a.out, "\nThe %d season: %s; a usual season needs two years of records.\n", s.Year, s.Verdict)
	}
	if len(w.Weeks) == 0 {
		return nil
	}
	fmt.Fprintln(a.out)
	t := a.table()
	fmt.Fprintln(t, "week of\tdrop-offs\texpected\t8 in 10 weeks\tso far out\tverdict\t")
	for _, x := range w.Weeks {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t\n", x.Week, report.Whole(x.DropOffs), report.Whole(x.Expected.Mean), report.Range(x.Expected), oneIn(x.Chance), x.Verdict)
	}
	return t.Flush()
}

// oneIn says how many weeks it takes until one is as far out on its side.
func oneIn(chance float64) string {
	if chance < .0001 {
		return "1 in 10,000 or less"
	}
	return "1 in " + report.Whole(max(2, 1/chance))
}

// days says how late or early a season runs.
func days(v float64) string {
	n := report.Count(max(v, -v), "day")
	switch {
	case v >= .5:
		return n + " late"
	case v <= -.5:
		return n + " early"
	}
	return "on its usual dates"
}

func daysRange(s forecast.Spread) string { return days(s.P10) + " to " + days(s.P90) }
