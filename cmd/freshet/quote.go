package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/report"
)

func (a *app) quote() *cobra.Command {
	q := desk.Inquiry{PartsDays: -1}
	var keep bool
	var ro, hours, dropOff string
	c := &cobra.Command{Use: "quote", Short: "Say when a job would be ready, why, and when to bring it in", Args: cobra.NoArgs,
		Long: `Says by what day a job of some kind would be ready, with chances of 5, 8 and 9 in
10, why, what the days are made of, the best day to bring it in, and a sentence for
the customer. --hours are quoted ones, such as 4, 2.5 or '2h 30m'; without them it
takes the kind's usual. --parts-days says in how many days from today its part is
there, 0 if it is in stock or none is needed; without it, the shop's own past says how
likely a part is and how long it takes. --drop-off says that the rig comes on a later
day: it then stands in line behind all who come before it, unless --hold keeps its
place from today on. --keep keeps the quote, so that it can be held against the day on
which the job was ready.

Unless --as-of names a day, what of today's work is over isn't counted on: a shop is
taken to work from 8 to 5.`,
		Example: `  freshet quote --kind cooling --hours 4
  freshet quote --kind cooling --hours 4 --parts-days 0    the part is in stock
  freshet quote --kind cooling --drop-off 2027-03-15       it comes on March 15`,
		RunE: func(c *cobra.Command, _ []string) error {
			if q.Kind == "" {
				return usage{fmt.Errorf("--kind: need a job kind; 'freshet outlook' lists the shop's")}
			}
			if c.Flags().Changed("parts-days") && q.PartsDays < 0 {
				return usage{fmt.Errorf("--parts-days: need 0 or more, have %v", q.PartsDays)}
			}
			var err error
			if hours != "" {
				if q.Hours, err = ingest.ParseHours(hours); err != nil {
					return usage{fmt.Errorf("--hours: %w", err)}
				}
			}
			if dropOff != "" {
				if q.DropOff, err = forecast.ParseDate(dropOff); err != nil {
					return usage{fmt.Errorf("--drop-off: need a day as YYYY-MM-DD, have %q", dropOff)}
				}
			}
			if err := q.Check(); err != nil {
				return usage{err}
			}
			var kept int64
			return answer(a, c, func(d *desk.Desk, ask desk.Ask) (desk.Quote, []string, error) {
				if a.asOf == "" {
					loc, err := d.Zone(c.Context())
					if err != nil {
						return desk.Quote{}, nil, err
					}
					q.Hour = a.now().In(loc).Hour()
				}
				v, err := d.Quote(c.Context(), ask, q)
				if err == nil && (keep || ro != "") {
					q := v.Kept(q)
					q.GivenAt, q.RO = a.now(), ro
					kept, err = d.Store.KeepQuote(c.Context(), q)
				}
				return v, v.Warnings, err
			}, func(v desk.Quote) error { return a.showQuote(v, kept) })
		}}
	f := c.Flags()
	f.StringVar(&q.Kind, "kind", "", "the `KIND` of job, as the shop names it")
	f.StringVar(&hours, "hours", "", "quoted `HOURS` (default the kind's usual)")
	f.Float64Var(&q.PartsDays, "parts-days", -1, "`DAYS` from today until its part is there")
	f.Lookup("parts-days").DefValue = "not known"
	f.BoolVar(&q.Emergency, "emergency", false, "it can't wait in line")
	f.StringVar(&dropOff, "drop-off", "", "`DAY`, YYYY-MM-DD, on which the rig comes (default today)")
	f.BoolVar(&q.Held, "hold", false, "keep its place in line from today, though the rig comes later")
	f.BoolVar(&keep, "keep", false, "keep the quote, to be set against what comes")
	f.StringVar(&ro, "ro", "", "keep the quote with this `NUMBER` of a repair order")
	return c
}

func (a *app) showQuote(v desk.Quote, kept int64) error {
	day := func(d forecast.Date) string { return report.WeekDayFrom(d, v.AsOf) }
	usual := ""
	if v.HoursFrom != "" {
		usual = " (the usual: " + v.HoursFrom + ")"
	}
	unit := "hours"
	if v.Hours == 1 {
		unit = "hour"
	}
	fmt.Fprintf(a.out, "%s, %g %s%s, dropped off %s\n\n", v.Kind, v.Hours, unit, usual, day(v.DropOff))
	t := a.table()
	for _, r := range []struct {
		chance string
		day    forecast.Date
	}{{"5 in 10", v.Ready.P50}, {"8 in 10", v.Ready.P80}, {"9 in 10", v.Ready.P90}} {
		fmt.Fprintf(t, "ready with a chance of %s\tby %s\t\n", r.chance, day(r.day))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if v.Beyond {
		fmt.Fprintln(a.out, "One case in ten takes longer than a quote looks ahead.")
	}
	fmt.Fprintf(a.out, "\nSay: %s\n\n", v.Say)
	fmt.Fprintln(a.out, v.Best())
	for _, s := range v.Why {
		fmt.Fprintln(a.out, s)
	}
	if days := float64(v.Ready.P80 - v.DropOff); days > 0 {
		fmt.Fprintf(a.out, "\nThe %s from drop-off to the 8 in 10 date:\n", report.Count(days, "day"))
	}
	t = a.table()
	for _, b := range v.MadeOf() {
		fmt.Fprintf(t, "%s\t%.1f\t\n", b.What, b.Days)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(a.out)
	if s := v.Record(); s != "" {
		fmt.Fprintln(a.out, s)
	}
	for _, c := range v.Cautions {
		fmt.Fprintln(a.out, "Caution:", c)
	}
	if kept > 0 {
		fmt.Fprintf(a.out, "Kept as quote %d.\n", kept)
	}
	return nil
}
