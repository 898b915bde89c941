package main

import (
	"fmt"
	"time"

	"freshet/cmd/freshet/internal/desk"

	"github.com/spf13/cobra"
)

func (a *app) shop() *cobra.Command {
	var name, zone string
	c := &cobra.Command{Use: "shop", Short: "Say the shop's name and time zone, or see them", Args: cobra.NoArgs, RunE: func(c *cobra.Command, _ []string) error {
		ctx := c.Context()
		if _, err := time.LoadLocation(zone); err != nil {
			return usage{fmt.Errorf("--zone: need a time zone such as America/Denver, have %q", zone)}
		}
		db, err := a.open(ctx)
		if err != nil {
			return err
		}
		defer db.Close()
		for _, s := range [][2]string{{desk.SettingName, name}, {desk.SettingZone, zone}} {
			if s[1] == "" {
				continue
			}
			if err := db.Set(ctx, s[0], s[1]); err != nil {
				return err
			}
		}
		for _, s := range [][3]string{{"name", desk.SettingName, "not said: --name \"…\" does"}, {"time zone", desk.SettingZone, "this machine's"}} {
			v, err := db.Setting(ctx, s[1], s[2])
			if err != nil {
				return err
			}
			fmt.Fprintf(a.out, "%-10s %s\n", s[0], v)
		}
		fmt.Fprintf(a.out, "%-10s %s\n", "database", db.Path())
		return nil
	}}
	c.Flags().StringVar(&name, "name", "", "the shop's name, as pages and reports show it")
	c.Flags().StringVar(&zone, "zone", "", "the time zone in which its days begin, such as America/Denver")
	return c
}
