package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"

	"freshet/cmd/freshet/internal/workers"
	"freshet/ingest/store"

	"github.com/spf13/cobra"
)

// withGroup opens the group that the call names, its tables for work included.
func (a *app) withGroup(c *cobra.Command, do func(*store.Group) error) error {
	address, err := a.path()
	if err != nil {
		return err
	}
	if !store.Shared(address) {
		return usage{errors.New("--db: need the address of a group's database, postgres://…")}
	}
	if store.NamesShop(address) {
		return usage{errors.New("need the group, have one shop of it: leave out --shop, and the shop in the address")}
	}
	g, err := store.OpenGroup(c.Context(), address)
	if err != nil {
		return err
	}
	defer g.Close()
	if err := workers.Prepare(c.Context(), g); err != nil {
		return err
	}
	return do(g)
}

// work takes a group's jobs.
func (a *app) work() *cobra.Command {
	atOnce := 0
	c := &cobra.Command{Use: "work", Short: "Do the work of a group's shops: reports, letters, files", Args: cobra.NoArgs,
		Long: `Does the work of all shops that share a PostgreSQL, until it is ended: each night the
report of every shop, its letter when that is due, and the files that were handed in.
As many of it as you like may run, on as many machines: each takes what the others
haven't, and what one that died had begun is done by another.`,
		Example: `  freshet work --db postgres://freshet@db.example.com/freshet`,
		RunE: func(c *cobra.Command, _ []string) error {
			if atOnce < 1 {
				return usage{fmt.Errorf("--at-once: need 1 shop or more, have %d", atOnce)}
			}
			if a.asOf != "" {
				return usage{errors.New("--as-of: 'freshet work' does each day's work on that day; 'freshet report --shop NAME --as-of DAY' makes a shop's report of another")}
			}
			if err := a.checkWeeks(); err != nil {
				return err
			}
			return a.withGroup(c, func(g *store.Group) error {
				return managed(c.Context(), func(ctx context.Context) error {
					ctx, stop := ended(ctx)
					defer stop()
					if err := g.Readable(ctx); err != nil {
						return err
					}
					log, _ := logBeside("postgres://", a.err)
					fmt.Fprintf(a.out, "Working, on %d shops at once. Ctrl-C ends it.\n", atOnce)
					return workers.Run(ctx, workers.Config{Group: g, Now: a.now, Getenv: os.Getenv, Log: log, Version: built().Version, Weeks: a.weeks, AtOnce: atOnce})
				})
			})
		}}
	a.refusesDay(c)
	c.Flags().IntVar(&atOnce, "at-once", runtime.GOMAXPROCS(0), "`NUMBER` of shops at a time")
	return c
}

// group is about all shops of one.
func (a *app) group() *cobra.Command {
	c := &cobra.Command{Use: "group", Short: "See all shops that share a database, and whom they may lend each other", Args: noSuchCommand,
		Long: `Shows the weeks of all shops that share a PostgreSQL, which of them are short of hours,
and which technician may be lent from one to another. The numbers are those of each
shop's newest report, which 'freshet work' makes each night.

Shops of one area share a season: a shop with less than three years of records borrows
from the older ones of its area what its own can't tell yet. And only shops of one
area lend each other technicians.`,
		Example: `  freshet group
  freshet group add creekside lakeview
  freshet group area north creekside lakeview
  freshet group user pat --owner creekside,lakeview --passphrase-file pat.txt
  freshet group file creekside drop-offs.csv`,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.withGroup(c, func(g *store.Group) error { return a.showGroup(c.Context(), g) })
		}}
	area := &cobra.Command{Use: "area AREA SHOP…", Short: "Say in which area shops are", Args: cobra.MinimumNArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			return a.withGroup(c, func(g *store.Group) error {
				if err := known(c.Context(), g, args[1:]); err != nil {
					return err
				}
				for _, shop := range args[1:] {
					if err := g.SetArea(c.Context(), shop, args[0]); err != nil {
						return err
					}
				}
				return nil
			})
		}}
	file := &cobra.Command{Use: "file SHOP [FILE…]", Short: "Hand in files for a worker to take in, or see what became of them", Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.withGroup(c, func(g *store.Group) error {
				if err := known(c.Context(), g, args[:1]); err != nil {
					return err
				}
				if len(args) == 1 {
					return a.showHandedIn(c.Context(), g, args[0])
				}
				return a.handIn(c.Context(), g, args[0], args[1:])
			})
		}}
	c.AddCommand(a.groupAdd(), area, a.groupUser(), file, a.groupRemove())
	return c
}

// groupAdd makes shops.
func (a *app) groupAdd() *cobra.Command {
	return &cobra.Command{Use: "add SHOP…", Short: "Make shops, or take in ones that were brought back from a dump", Args: cobra.MinimumNArgs(1),
		Long: `Makes shops with nothing in them yet, of names of small letters, figures and
underscores. Where the database has a shop's schema already, brought back by
PostgreSQL's own means from what pg_dump wrote, that shop is the group's from then
on, with its records; its area and its users have to be named again.`,
		Example: `  freshet group add creekside lakeview
  freshet import --shop creekside drop-offs.csv`,
		RunE: func(c *cobra.Command, args []string) error {
			ctx := c.Context()
			return a.withGroup(c, func(g *store.Group) error {
				have, err := g.Shops(ctx)
				if err != nil {
					return err
				}
				found := map[string]bool{}
				for i, shop := range args { // all of them, or none
					if slices.Contains(have, shop) {
						return fmt.Errorf("the group has a shop %s already", shop)
					}
					if slices.Contains(args[:i], shop) {
						return usage{fmt.Errorf("need each shop once, have %s twice", shop)}
					}
					if found[shop], err = g.Holds(ctx, shop); err != nil {
						return err
					}
				}
				for _, shop := range args {
					db, err := g.Add(ctx, shop)
					if err != nil {
						return err
					}
					if err := db.Close(); err != nil {
						return err
					}
					said := "is made, with nothing in it yet"
					if found[shop] {
						said = "was in the database, and is the group's with its records: 'freshet check' looks over them"
					}
					fmt.Fprintf(a.out, "%s %s.\n", shop, said)
				}
				return nil
			})
		}}
}

// groupRemove takes a shop away.
func (a *app) groupRemove() *cobra.Command {
	again := ""
	c := &cobra.Command{Use: "remove SHOP", Short: "Take a shop away, with all its records", Args: cobra.ExactArgs(1),
		Long: `Takes a shop out of the group and its records out of the database, for good. Keep
them before: with 'freshet move' in a file, or with pg_dump, from which PostgreSQL
brings the shop's schema back and 'freshet group add' the shop.`,
		Example: `  pg_dump -n shop_creekside -f creekside.sql freshet
  freshet group remove creekside --for-good creekside`,
		RunE: func(c *cobra.Command, args []string) error {
			ctx, shop := c.Context(), args[0]
			return a.withGroup(c, func(g *store.Group) error {
				if err := known(ctx, g, args); err != nil {
					return err
				}
				if again != shop {
					return usage{fmt.Errorf("all records of %[1]s would go: keep them first, with pg_dump -n shop_%[1]s, then say --for-good %[1]s", shop)}
				}
				if err := g.Remove(ctx, shop); err != nil {
					return err
				}
				fmt.Fprintf(a.out, "%s is gone.\n", shop)
				return nil
			})
		}}
	c.Flags().StringVar(&again, "for-good", "", "`SHOP` once more, so that no other goes by mistake")
	return c
}

func (a *app) handIn(ctx context.Context, g *store.Group, shop string, files []string) error {
	hands, err := workers.NewHands(g)
	if err != nil {
		return err
	}
	for _, path := range files {
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		if info.Size() > store.MostHandedIn {
			return fmt.Errorf("%s: need a file of %d MB or less, have %d: take it in with 'freshet import'", path, store.MostHandedIn>>20, info.Size()>>20)
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if _, err := hands.HandIn(ctx, shop, filepath.Base(path), content); err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s waits for a worker.\n", filepath.Base(path))
	}
	return nil
}

// showHandedIn lists a shop's newest files that were handed in.
func (a *app) showHandedIn(ctx context.Context, g *store.Group, shop string) error {
	files, err := g.HandedFiles(ctx, shop, 50)
	if err != nil {
		return err
	}
	undone, err := notDone(ctx, g)
	if err != nil {
		return err
	}
	stands := map[int64]string{}
	for _, u := range undone {
		stands[u.file] = "It " + u.stands()
	}
	for _, f := range files {
		fmt.Fprintf(a.out, "%s: %s\n", f.File, cmp.Or(f.Said, stands[f.ID]))
	}
	return nil
}

// known refuses shops that the group hasn't got.
func known(ctx context.Context, g *store.Group, shops []string) error {
	have, err := g.Shops(ctx)
	if err != nil {
		return err
	}
	for _, s := range shops {
		if !slices.Contains(have, s) {
			return &store.NoShop{Name: s, Have: have}
		}
	}
	return nil
}
