package main

import (
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/report"

	"github.com/spf13/cobra"
)

func (a *app) outlook() *cobra.Command {
	return &cobra.Command{Use: "outlook", Short: "Say what drop-offs and hours of work to expect, week by week", Args: cobra.NoArgs,
		Long: `Says for each of the next weeks how many drop-offs to expect and how many hours of
work they bring, in all and by kind of job. The range beside a number is one into
which 8 weeks in 10 fall. It names the way of forecasting that it chose on your own
records.`,
		Example: `  freshet outlook
  freshet outlook --weeks 26
  freshet outlook --as-of 2026-03-02    as it would have been said on March 2`,
		RunE: func(c *cobra.Command, _ []string) error {
			return answer(a, c, func(d *desk.Desk, ask desk.Ask) (desk.Outlook, []string, error) {
				o, err := d.Outlook(c.Context(), ask)
				return o, o.Warnings, err
			}, a.showOutlook)
		}}
}

func (a *app) showOutlook(o desk.Outlook) error {
	t := a.table()
	fmt.Fprintln(t, "week of\tdrop-offs\t8 in 10 weeks\thours of work\t8 in 10 weeks\t")
	for _, w := range o.Weeks {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t\n", w.Week, report.Whole(w.DropOffs.Mean), report.Range(w.DropOffs), hoursOf(w.Hours.Mean), report.Range(w.Hours))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nIn all %s, by job kind:\n", many(len(o.Weeks), "week"))
	t = a.table()
	fmt.Fprintln(t, "kind\tdrop-offs\thours of work\t")
	for _, k := range o.Kinds {
		n, h := 0.0, 0.0
		for _, w := range k.Weeks {
			n += w.DropOffs.Mean
			h += w.Hours.Mean
		}
		fmt.Fprintf(t, "%s\t%.1f\t%s\t\n", k.Kind, n, hoursOf(h))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nDrop-offs: %s. Hours: %s.\n", o.Model.DropOffs, o.Model.Hours)
	return nil
}

func (a *app) crew() *cobra.Command {
	var change capacity.WhatIf
	var tech string
	c := &cobra.Command{Use: "crew", Short: "Set the crew's hours against the work, and say what to decide by when", Args: cobra.NoArgs,
		Long: `Sets the hours that the crew has against the hours of work that come in, follows the
work that waits from week to week, and says what to decide by when: hire, open on
Saturdays, plan overtime, grant time off or say no to it. The chance short is the chance that more
hours come in during a week than those who can do them have: of all work, or of a kind
that only some can do. With a what-if flag, each column shows how it is now and how it
would be then.`,
		Example: `  freshet crew
  freshet crew --add-tech 1@2027-04-01    with one technician more from April 1
  freshet crew --season-shift 21          should the season come three weeks late
  freshet crew --demand -10               should a tenth less work come`,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := addTech(&change, tech); err != nil {
				return usage{err}
			}
			return answer(a, c, func(d *desk.Desk, ask desk.Ask) (desk.Crew, []string, error) {
				v, err := d.Crew(c.Context(), ask, change)
				return v, v.Warnings, err
			}, a.showCrew)
		}}
	f := c.Flags()
	f.StringVar(&tech, "add-tech", "", "what if there were `N[@DATE]` technicians more, from that day on")
	f.Float64Var(&change.AddHours, "add-hours", 0, "what if there were so many `HOURS` on jobs more a week")
	f.Float64Var(&change.DemandPercent, "demand", 0, "what if so many `PERCENT` more work came (less: below 0)")
	f.IntVar(&change.SeasonShiftDays, "season-shift", 0, "what if the season came so many `DAYS` later (earlier: below 0)")
	f.BoolVar(&change.Saturdays, "saturdays", false, "what if the shop opened on Saturdays")
	return c
}

// addTech reads N or N@DATE.
func addTech(w *capacity.WhatIf, text string) error {
	if text == "" {
		return nil
	}
	n, day, dated := strings.Cut(text, "@")
	var err error
	if w.AddTech, err = strconv.Atoi(n); err != nil {
		return fmt.Errorf("--add-tech: need a number, or a number@YYYY-MM-DD, have %q", text)
	}
	if dated {
		d, err := forecast.ParseDate(day)
		if err != nil {
			return fmt.Errorf("--add-tech: need a day as YYYY-MM-DD after the @, have %q", day)
		}
		w.AddTechFrom = d
	}
	return nil
}

func (a *app) showCrew(v desk.Crew) error {
	if v.Scenario != "" {
		fmt.Fprintf(a.out, "What if: %s. Each column shows now → then.\n\n", v.Scenario)
	}
	t := a.table()
	fmt.Fprintln(t, "week of\tcrew has\twork expected\t8 in 10 weeks\tchance short\twaiting at the end\tdays until ready\t")
	for j, w := range v.Weeks {
		cells := crewCells(w)
		if v.Baseline != nil {
			for i, before := range crewCells(v.Baseline[j]) {
				if before != cells[i] {
					cells[i] = before + " → " + cells[i]
				}
			}
		}
		fmt.Fprintf(t, "%s\t%s\t\n", w.Week, strings.Join(cells, "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(a.out)
	for _, s := range v.Skills {
		worst := s.Weeks[0]
		for _, w := range s.Weeks {
			if w.AvailableHours > 0 && (w.ChanceShort > worst.ChanceShort || worst.AvailableHours == 0) {
				worst = w
			}
		}
		if worst.ChanceShort < worthSaying || worst.AvailableHours == 0 {
			continue
		}
		fmt.Fprintf(a.out, "Only %s can do %s: %s in the tightest week, that of %s, against %s of such work (chance short %.0f %% at least).\n",
			strings.Join(s.Who, " and "), strings.Join(s.Kinds, ", "), hoursOf(worst.AvailableHours), worst.Week, hoursOf(worst.ExpectedHours.Mean), 100*worst.ChanceShort)
	}
	if w := v.Weeks[0]; w.WaitingHours.P50 >= 1 {
		fmt.Fprintf(a.out, "Besides, about %s wait for parts or approval at the end of this week.\n", hoursOf(w.WaitingHours.P50))
	}
	if h := v.HoldBack; h != nil {
		fmt.Fprintf(a.out, "Emergencies: %.1f a week; leave %s a week free of promises, enough in %.0f weeks of 100. Release what is left on %s.\n", h.PerWeek, hoursOf(h.Hours), 100*h.At, h.Release)
	}
	if v.Ahead > len(v.Weeks) {
		fmt.Fprintf(a.out, "The advice looks %d weeks ahead, further than the %d above, as a hire takes that long.\n", v.Ahead, len(v.Weeks))
	}
	if len(v.Advice) == 0 {
		fmt.Fprintln(a.out, "Nothing needs deciding now.")
	}
	for _, x := range v.Advice {
		fmt.Fprintf(a.out, "\nBy %s: %s.\n  %s\n", report.WeekDayFrom(x.DecideBy, v.AsOf), report.Title(x), x.Why)
		if x.Cost != nil {
			fmt.Fprintf(a.out, "  Cost: about %s.\n", report.Dollars(*x.Cost))
		}
		if s := x.IfNot(); s != "" {
			fmt.Fprintf(a.out, "  %s\n", s)
		}
		for i, c := range x.Call {
			if i == 0 {
				fmt.Fprintln(a.out, "  Whom to call:")
			}
			fmt.Fprintf(a.out, "    %s\n", c)
		}
	}
	facts := report.Facts{Advice: v.Advice}
	for _, x := range v.Advice {
		facts.Kinds = append(facts.Kinds, report.Kind{Name: x.Kind})
	}
	for _, x := range append(report.Build(facts).Cautions, capacity.EstimateCaution) {
		fmt.Fprintln(a.out, "\nCaution:", x)
	}
	return nil
}

// worthSaying is the chance of too few hours from which a scarce skill gets a
// line of its own.
const worthSaying = .1

// crewCells gives a week's columns after its name.
func crewCells(w desk.CrewWeek) []string {
	has, chance := hoursOf(w.AvailableHours), fmt.Sprintf("%.0f %%", 100*w.ChanceShort)
	if w.AvailableHours == 0 {
		has, chance = "closed", "–"
	}
	return []string{has, hoursOf(w.ExpectedHours.Mean), report.Range(w.ExpectedHours), chance, hoursOf(w.BacklogHours.P50), report.Whole(w.TurnaroundDays.P50)}
}

func (a *app) score() *cobra.Command {
	var origins int
	var rows string
	c := &cobra.Command{Use: "score", Short: "Say how good outlooks, quotes and alerts would have been on your own past", Args: cobra.NoArgs,
		Long: `Goes back to days of the last three years, forecasts from each with only what was
known then, and holds that against what came: the error as a share of all that came,
beside the error of "the same week last year", and how often the range of 8 weeks in
10 held. It quotes past jobs in the same way, and counts alerts that came to nothing.`,
		Example: `  freshet score
  freshet score --weeks 4 --origins 52`,
		RunE: func(c *cobra.Command, _ []string) error {
			if origins < 1 {
				return usage{fmt.Errorf("--origins: need 1 or more, have %d", origins)}
			}
			switch rows {
			case "":
			case "quotes":
				return a.quoteRows(c)
			default:
				return usage{fmt.Errorf("--rows: need quotes, have %q", rows)}
			}
			return answer(a, c, func(d *desk.Desk, ask desk.Ask) (desk.Score, []string, error) {
				v, err := d.Score(c.Context(), ask, origins)
				return v, v.Warnings, err
			}, a.showScore)
		}}
	c.Flags().StringVar(&rows, "rows", "", "quotes: a `LINE` of JSON for each finished job of the last two years, quoted by what was known on its day")
	c.Flags().IntVar(&origins, "origins", desk.UsualOrigins, "from how many `DAYS` of the last three years to forecast")
	return c
}

// quoteRows writes the quotes of the past, a line each.
func (a *app) quoteRows(c *cobra.Command) error {
	return a.atDesk(c, func(d *desk.Desk, ask desk.Ask) error {
		rows, err := d.QuoteRows(c.Context(), ask)
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := a.writeJSON(r); err != nil {
				return err
			}
		}
		return nil
	})
}

func (a *app) showScore(v desk.Score) error {
	t := a.table()
	fmt.Fprintln(t, "what\tweeks ahead\tforecasts\terror, share of the whole\tsame week last year\terror against it\t80 % range held\t")
	row := func(name string, s desk.ScoreOf) {
		fmt.Fprintf(t, "%s\tall\t%d\t%s\t%s\t%s\t%s\t\n", name, s.Origins, share(s.WAPE), share(s.LastYearWAPE), share(s.RatioToLastYear), share(s.Coverage80))
		for _, h := range s.Ahead {
			fmt.Fprintf(t, "\t%d\t\t%s\t\t%s\t%s\t\n", h.Weeks, share(h.WAPE), share(h.RatioToLastYear), share(h.Coverage80))
		}
	}
	row("drop-offs", v.DropOffs)
	row("hours", v.Hours)
	for _, k := range v.Kinds {
		row(k.Kind, k)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if q := v.Quotes; q != nil {
		fmt.Fprintf(a.out, "\nQuotes for %d finished jobs: of dates for 5, 8 and 9 in 10, %.0f, %.0f and %.0f %% would have been kept. The 8 in 10 took %.1f days in the mean;\nat the same kept rate:\n", q.N, 100*q.Kept50, 100*q.Kept80, 100*q.Kept90, q.MeanDays80)
		t = a.table()
		for _, r := range q.Rules {
			fmt.Fprintf(t, "%s\t%.1f days\t\n", r.Rule, r.EqualDays)
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	if w := v.Alerts; w != nil {
		fmt.Fprintf(a.out, "\nThe watch over %d weeks: %s, of which %.1f a year stood no more four weeks later.\n", w.Weeks, report.Count(float64(w.Alerts), "alert"), w.FalsePerYear)
	}
	return nil
}

func (a *app) table() *tabwriter.Writer {
	return tabwriter.NewWriter(a.out, 0, 0, 2, ' ', tabwriter.AlignRight)
}

// hoursOf writes hours with their unit, where they are known.
func hoursOf(v float64) string {
	s := report.Whole(v)
	if s == "not known" {
		return s
	}
	return s + " h"
}

func share(v *float64) string {
	if v == nil {
		return "not known"
	}
	return fmt.Sprintf("%.0f %%", 100**v)
}
