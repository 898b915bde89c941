package main

import (
	"fmt"
	"strings"

	"freshet/cmd/freshet/internal/desk"
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
		fmt.Fprintln(a.out, "No week and no kind of work is out of the ordinary.")
	}
	for _, x := range w.Alerts {
		kind := ""
		if x.Kind != "all" {
			kind = " (" + x.Kind + ")"
		}
		fmt.Fprintf(a.out, "%s%s, since %s\n  %s\n", strings.ToUpper(x.Rule[:1])+x.Rule[1:], kind, x.Since, x.Summary)
	}
	fmt.Fprintln(a.out, "\n"+w.Season.String())
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
