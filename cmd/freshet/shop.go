package main

import (
	"cmp"
	"fmt"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

func (a *app) shop() *cobra.Command {
	var name, zone, open, holidays, bays, folder string
	limits := desk.Limits()
	values := make([]float64, len(limits))
	c := &cobra.Command{Use: "shop", Short: "Say the shop's name, time zone, costs and limits, or see them", Args: cobra.NoArgs,
		Long: `Says the shop's name, its time zone, the days on which it is open, the holidays on which
it closes, how many can work at once, and the costs and limits behind the advice. Without
flags it shows them all, and which are yours and which are the usual ones. Unless you say
otherwise the shop closes on New Year's Day, Memorial Day, Independence Day, Labor Day,
Thanksgiving, the day after it, and Christmas Day.`,
		Example: `  freshet shop --name "Our Shop" --zone America/Denver
  freshet shop --open "mon tue wed thu fri sat=0.5" --hire-cost 4000
  freshet shop --holidays "Memorial Day, Labor Day, Thanksgiving, Christmas"`,
		RunE: func(c *cobra.Command, _ []string) error {
			ctx := c.Context()
			if _, err := time.LoadLocation(zone); err != nil {
				return usage{fmt.Errorf("--zone: need a time zone such as America/Denver, have %q", zone)}
			}
			if _, err := desk.ParseWeek(open); open != "" && err != nil {
				return usage{fmt.Errorf("--open: %w", err)}
			}
			closed, err := desk.ParseHolidays(holidays)
			if holidays != "" {
				if err != nil {
					return usage{fmt.Errorf("--holidays: %w", err)}
				}
				holidays = desk.WriteHolidays(closed)
			}
			if _, err := desk.ParseBays(bays); bays != "" && err != nil {
				return usage{fmt.Errorf("--bays: %w", err)}
			}
			for i, l := range limits {
				if c.Flags().Changed(l.Name) {
					if err := l.Check(values[i]); err != nil {
						return usage{err}
					}
				}
			}
			full, err := week.CheckFolder(folder)
			if err != nil {
				return usage{fmt.Errorf("--folder: %w", err)}
			}
			db, err := a.create(ctx)
			if err != nil {
				return err
			}
			defer db.Close()
			unwatched := "none is watched: --folder DIR takes in what is dropped there"
			if store.Shared(db.Path()) { // workers run on other machines than the folder is on
				unwatched = "a group's shop watches none: 'freshet group file' hands files in"
				if full != "" {
					return usage{fmt.Errorf("--folder: %s", unwatched)}
				}
			}
			for _, s := range [][2]string{{desk.SettingName, name}, {desk.SettingZone, zone}, {desk.SettingOpen, open}, {desk.SettingHolidays, holidays}, {desk.SettingBays, bays}} {
				if s[1] == "" {
					continue
				}
				if err := db.Set(ctx, s[0], s[1]); err != nil {
					return err
				}
			}
			if c.Flags().Changed("folder") {
				if err := db.Set(ctx, week.SettingFolder, full); err != nil {
					return err
				}
			}
			said := shopJSON{Schema: 1, Database: db.Path()}
			for _, s := range [][3]string{{"name", desk.SettingName, "not said: --name \"…\" does"}, {"time zone", desk.SettingZone, "this machine's"}, {"open", desk.SettingOpen, desk.UsualWeek}, {"closed on", desk.SettingHolidays, desk.UsualHolidays()}, {"bays", desk.SettingBays, "0 (no limit)"}, {"folder", week.SettingFolder, unwatched}} {
				v, err := db.Setting(ctx, s[1], "")
				if err != nil {
					return err
				}
				if s[1] == week.SettingFolder && store.Shared(db.Path()) { // it may have come along from a file
					v = ""
				}
				said.Settings = append(said.Settings, settingJSON{s[0], cmp.Or(v, s[2]), v != ""})
			}
			d := &desk.Desk{Store: db}
			for i, l := range limits {
				if c.Flags().Changed(l.Name) {
					if err := d.SetLimit(ctx, l, values[i]); err != nil {
						return err
					}
				}
			}
			policy, set, err := d.Policy(ctx)
			if err != nil {
				return err
			}
			for _, l := range limits {
				said.Limits = append(said.Limits, limitJSON{l.Name, l.Of(policy), set[l.Name]})
			}
			if a.json {
				return a.writeJSON(said)
			}
			for _, s := range said.Settings {
				fmt.Fprintf(a.out, "%-10s %s\n", s.Name, s.Value)
			}
			fmt.Fprintf(a.out, "%-10s %s\n", "database", said.Database)
			fmt.Fprintln(a.out, "\nCosts and limits behind the advice (usual: common practice, no source):")
			for i, l := range limits {
				fmt.Fprintf(a.out, "%-18s %8s  %s  %s\n", l.Name, l.Text(policy), map[bool]string{true: "yours", false: "usual"}[said.Limits[i].Yours], l.Usage)
			}
			return nil
		}}
	c.Flags().StringVar(&name, "name", "", "the shop's `NAME`, as pages and reports show it")
	c.Flags().StringVar(&zone, "zone", "", "the time `ZONE` in which its days begin, such as America/Denver")
	c.Flags().StringVar(&open, "open", "", "the `DAYS` on which it opens, such as \"mon tue wed thu fri sat=0.5\" (0.5: half a day)")
	c.Flags().StringVar(&holidays, "holidays", "", "the `NAMES` of the holidays on which it closes each year, apart by commas, such as \"Thanksgiving, Christmas\" (none: on none)")
	c.Flags().StringVar(&bays, "bays", "", "`NUMBER` of technicians who can work at once (0: no limit)")
	c.Flags().StringVar(&folder, "folder", "", "a `DIR` from which new exports are taken in by themselves (\"\": none)")
	for i, l := range limits {
		c.Flags().Float64Var(&values[i], l.Name, l.Of(capacity.DefaultPolicy()), quoteFirst(l.Usage))
	}
	return c
}

// shopJSON is the answer for programs.
type shopJSON struct {
	Schema   int           `json:"schema"`
	Settings []settingJSON `json:"settings"`
	Database string        `json:"database"`
	Limits   []limitJSON   `json:"limits"`
}

type settingJSON struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	Yours bool   `json:"yours"` // else it is the usual one, or not said
}

type limitJSON struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Yours bool    `json:"yours"`
}
