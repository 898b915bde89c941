package main

import (
	"fmt"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/report"

	"github.com/spf13/cobra"
)

func (a *app) watch() *cobra.Command {
	var say saying
	c := &cobra.Command{Use: "watch", Short: "Say which weeks, seasons and kinds of jobs don't fit, and how odd they are", Args: cobra.NoArgs,
		Long: `Holds what came in against what was to be expected, week by week: weeks far busier or
quieter than usual, several odd weeks on end, a kind of job that became common or
rare, records that seem to be missing, and a season that comes early or late; and says
what drives them. "1 in 40" means that chance alone brings such a week once in 40. It
alerts seldom on purpose.

An alert has a name, in brackets, by which you can say what you know of it: with --seen
it stays listed, and the letter is quiet about it; --explain with --because says what
was behind it, and with --one-time its weeks say nothing of other years, so that next
year's season isn't bent by them; --take-back takes the last of these back.

What the last year's kept reports told and stands no more is listed below. Reports are
kept from the first that 'freshet serve' makes; --as-of shows any earlier day, and
takes a word on what stood then.`,
		Example: `  freshet watch
  freshet watch --seen NAME
  freshet watch --explain NAME --because "a hailstorm" --one-time`,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := say.check(c.Flags().Changed); err != nil {
				return usage{err}
			}
			return answer(a, c, func(d *desk.Desk, ask desk.Ask) (w watched, warnings []string, err error) {
				w.Watch, err = d.Watch(c.Context(), ask)
				if err == nil && say.any() {
					if err = say.keep(c.Context(), d, w.Watch, a.now()); err == nil {
						w.Watch, err = d.Watch(c.Context(), ask)
					}
				}
				if err == nil {
					w.LookBack, err = d.LookBack(c.Context(), w.Watch)
				}
				return w, w.Warnings, err
			}, a.showWatch)
		}}
	say.flags(c.Flags())
	return c
}

// watched is what doesn't fit, and didn't before.
type watched struct {
	desk.Watch
	desk.LookBack
}

func (a *app) showWatch(w watched) error {
	if len(w.Alerts) == 0 {
		fmt.Fprintln(a.out, "No week and no kind of work is out of the ordinary.")
	}
	for _, x := range w.Alerts {
		kind := ""
		if x.Kind != "all" {
			kind = " (" + x.Kind + ")"
		}
		fmt.Fprintf(a.out, "%s%s, since %s [%s]\n  %s\n", strings.ToUpper(x.Rule[:1])+x.Rule[1:], kind, x.Since, x.ID, x.Says())
	}
	fmt.Fprintln(a.out, "\n"+w.Season.String())
	a.showBefore(w)
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

// showBefore lists what the kept reports told that stands no more.
func (a *app) showBefore(w watched) {
	if w.KeptSince == nil {
		return
	}
	since := report.DayFrom(*w.KeptSince, w.AsOf)
	if len(w.Before) == 0 {
		fmt.Fprintf(a.out, "The reports kept since %s told of nothing that stands no more.\n", since)
		return
	}
	fmt.Fprintf(a.out, "\nWhat didn't fit before, from the reports kept since %s:\n", since)
	for _, b := range w.Before {
		name := ""
		if b.ID != "" {
			name = " [" + b.ID + "]"
		}
		fmt.Fprintf(a.out, "  %s %s%s\n", b.Says(), b.Told(w.AsOf), name)
	}
}

// oneIn says how many weeks it takes until one is as far out on its side.
func oneIn(chance float64) string {
	if chance < .0001 {
		return "1 in 10,000 or less"
	}
	return "1 in " + report.Whole(max(2, 1/chance))
}
