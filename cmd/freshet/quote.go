package main

import (
	"database/sql"
	"fmt"

	"github.com/spf13/cobra"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
)

func (a *app) quote() *cobra.Command {
	q := desk.Inquiry{PartsDays: -1}
	var keep bool
	var ro string
	c := &cobra.Command{Use: "quote", Short: "Say when a job dropped off today would be ready, and why", Args: cobra.NoArgs,
		Long: `Says by what day a job of some kind would be ready, with chances of 5, 8 and 9 in
10, what the days are made of, and a sentence for the customer. --hours are quoted
ones; without them it takes the kind's usual. --parts-days says when its part is
there, 0 if it is in stock or none is needed; without it, the shop's own past says how
likely a part is and how long it takes. --keep keeps the quote, so that it can be held
against the day on which the job was ready.`,
		Example: `  freshet quote --kind cooling --hours 4
  freshet quote --kind cooling --hours 4 --parts-days 0    the part is in stock`,
		RunE: func(c *cobra.Command, _ []string) error {
			if q.Kind == "" {
				return usage{fmt.Errorf("--kind: need a job kind; 'freshet outlook' lists the shop's")}
			}
			if c.Flags().Changed("parts-days") && q.PartsDays < 0 {
				return usage{fmt.Errorf("--parts-days: need 0 or more, have %v", q.PartsDays)}
			}
			if err := q.Check(); err != nil {
				return usage{err}
			}
			var kept int64
			return answer(a, c, func(d *desk.Desk, ask desk.Ask) (desk.Quote, []string, error) {
				v, err := d.Quote(c.Context(), ask, q)
				if err == nil && (keep || ro != "") {
					kept, err = d.Store.KeepQuote(c.Context(), store.Quote{GivenAt: a.now(), AsOf: v.AsOf, Kind: v.Kind,
						Hours: sql.Null[float64]{V: q.Hours, Valid: q.Hours > 0}, PartsDays: sql.Null[float64]{V: q.PartsDays, Valid: q.PartsDays >= 0},
						Emergency: q.Emergency, P50: v.Ready.P50, P80: v.Ready.P80, P90: v.Ready.P90, RO: ro})
				}
				return v, v.Warnings, err
			}, func(v desk.Quote) error { return a.showQuote(v, kept) })
		}}
	f := c.Flags()
	f.StringVar(&q.Kind, "kind", "", "the `KIND` of job, as the shop names it")
	f.Float64Var(&q.Hours, "hours", 0, "quoted `HOURS` (default the kind's usual)")
	f.Float64Var(&q.PartsDays, "parts-days", -1, "`DAYS` until its part is there")
	f.Lookup("parts-days").DefValue = "not known"
	f.BoolVar(&q.Emergency, "emergency", false, "it can't wait in line")
	f.BoolVar(&keep, "keep", false, "keep the quote, to be set against what comes")
	f.StringVar(&ro, "ro", "", "keep the quote with this `NUMBER` of a repair order")
	return c
}

func (a *app) showQuote(v desk.Quote, kept int64) error {
	fmt.Fprintf(a.out, "%s, %g hours, dropped off %s\n\n", v.Kind, v.Hours, report.WeekDay(v.AsOf))
	t := a.table()
	for _, r := range []struct {
		chance string
		day    forecast.Date
	}{{"5 in 10", v.Ready.P50}, {"8 in 10", v.Ready.P80}, {"9 in 10", v.Ready.P90}} {
		fmt.Fprintf(t, "ready with a chance of %s\tby %s\t\n", r.chance, report.WeekDay(r.day))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if v.Beyond {
		fmt.Fprintln(a.out, "One case in ten takes longer than a quote looks ahead.")
	}
	if days := float64(v.Ready.P80 - v.AsOf); days > 0 {
		fmt.Fprintf(a.out, "\nThe %s to the 8 in 10 are made of:\n", report.Count(days, "day"))
	}
	t = a.table()
	for _, b := range v.Because {
		if b.Days > 0 {
			fmt.Fprintf(t, "%s\t%.1f\t\n", b.What, b.Days)
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nSay: %s\n", v.Say)
	if v.Kept80 != nil {
		fmt.Fprintf(a.out, "\nOf %d jobs of the past year, such a date would have been kept for %.0f %%.\n", v.Tried, 100**v.Kept80)
	}
	for _, c := range v.Cautions {
		fmt.Fprintln(a.out, "Caution:", c)
	}
	if kept > 0 {
		fmt.Fprintf(a.out, "Kept as quote %d.\n", kept)
	}
	return nil
}
