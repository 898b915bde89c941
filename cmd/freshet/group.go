package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"text/tabwriter"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/web"
	"freshet/cmd/freshet/internal/week"
	"freshet/cmd/freshet/internal/workers"
	"freshet/ingest/store"
	"freshet/report"

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
	for _, f := range files {
		fmt.Fprintf(a.out, "%s: %s\n", f.File, cmp.Or(f.Said, "It waits for a worker."))
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

// groupUser lets people into the pages of shops.
func (a *app) groupUser() *cobra.Command {
	var owner, counter, out []string
	var file string
	var remove bool
	c := &cobra.Command{Use: "user [NAME]", Short: "See who may open which shops' pages, or change it", Args: cobra.MaximumNArgs(1),
		Long: `Without a name it lists the group's users and their shops. With one, it makes a user or
changes what he or she may see: as owner everything of a shop, at the counter nothing
of money. A new user needs a passphrase, in a file that you alone can read.`,
		RunE: func(c *cobra.Command, args []string) error {
			ctx := c.Context()
			return a.withGroup(c, func(g *store.Group) error {
				if len(args) == 0 {
					return a.showUsers(ctx, g)
				}
				name := args[0]
				if remove {
					if had, err := g.RemoveUser(ctx, name); err != nil || !had {
						return cmp.Or(err, fmt.Errorf("there is no user %s: 'freshet group user' lists them", name))
					}
					fmt.Fprintf(a.out, "%s is let in no more.\n", name)
					return nil
				}
				all := slices.Concat(owner, counter, out)
				if err := known(ctx, g, all); err != nil {
					return err
				}
				for i, shop := range all {
					if slices.Contains(all[:i], shop) {
						return usage{fmt.Errorf("--owner, --counter, --out: need each shop once, have %s twice", shop)}
					}
				}
				if file != "" {
					text, err := post.ReadPassword(file)
					if err != nil {
						return err
					}
					hash, err := web.Hash(string(text))
					if err != nil {
						return err
					}
					if err := g.SetUser(ctx, name, hash, a.now()); err != nil {
						return err
					}
				} else if hash, _, err := g.User(ctx, name); err != nil || hash == "" {
					return cmp.Or(err, error(usage{fmt.Errorf("--passphrase-file: there is no user %s yet, and a new one needs a passphrase", name)}))
				}
				for role, shops := range map[string][]string{"owner": owner, "counter": counter, "": out} {
					for _, shop := range shops {
						if err := g.SetMember(ctx, name, shop, role); err != nil {
							return err
						}
					}
				}
				return a.showUsers(ctx, g)
			})
		}}
	c.Flags().StringSliceVar(&owner, "owner", nil, "`SHOPS`, apart by commas, of which the user sees and changes everything")
	c.Flags().StringSliceVar(&counter, "counter", nil, "`SHOPS` at whose counter the user stands")
	c.Flags().StringSliceVar(&out, "out", nil, "`SHOPS` that the user may no longer see")
	c.Flags().StringVar(&file, "passphrase-file", "", "`FILE` with the user's new passphrase")
	c.Flags().BoolVar(&remove, "remove", false, "forget the user")
	return c
}

func (a *app) showUsers(ctx context.Context, g *store.Group) error {
	members, err := g.Members(ctx)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "user\tshop\tas")
	for _, m := range members {
		fmt.Fprintf(w, "%s\t%s\t%s\n", m.User, cmp.Or(m.Shop, "none"), m.Role)
	}
	return w.Flush()
}

// showGroup writes all shops' weeks.
func (a *app) showGroup(ctx context.Context, g *store.Group) error {
	briefs, err := g.Briefs(ctx, store.Picked{})
	if err != nil {
		return err
	}
	loans, err := g.Loans(ctx, "", 1<<20)
	if err != nil {
		return err
	}
	lent := make([]capacity.Loan, len(loans))
	for i, l := range loans {
		if err := json.Unmarshal(l.Loan, &lent[i]); err != nil {
			return err
		}
	}
	undone, err := notDone(ctx, g)
	if err != nil {
		return err
	}
	if a.json {
		return a.writeJSON(groupJSON(briefs, loans, lent, undone))
	}
	if err := a.showShops(briefs); err != nil {
		return err
	}
	if len(loans) > 0 {
		fmt.Fprintln(a.out, "\nA technician may be lent:")
	}
	for i, l := range loans {
		loan := lent[i]
		fmt.Fprintf(a.out, "Week of %s: %s to %s, %s hours. %s's chance of too few hours falls from %s to %s, %s's rises from %s to %s.\n", report.Day(l.Monday), l.Lender, l.Borrower, report.Whole(loan.Hours),
			l.Borrower, percent(loan.Borrower.Before), percent(loan.Borrower.After), l.Lender, percent(loan.Lender.Before), percent(loan.Lender.After))
	}
	if len(undone) > 0 {
		fmt.Fprintln(a.out, "\nNot done yet:")
	}
	for _, u := range undone {
		fmt.Fprintf(a.out, "%s: %s\n", cmp.Or(u.Shop, "all shops"), u)
	}
	return nil
}

// showShops writes each shop's weeks, or how to begin.
func (a *app) showShops(briefs []store.Brief) error {
	if len(briefs) == 0 {
		fmt.Fprintln(a.out, "There is no shop in this database yet. Make one with 'freshet group add SHOP', or bring one in from its file: 'freshet move --from shop.db --to postgres://… --shop SHOP'.")
		return nil
	}
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "shop\tarea\tweek of\tdrop-offs\thours\tcrew's hours\tchance short")
	for _, b := range briefs {
		if len(b.Weeks) == 0 {
			fmt.Fprintf(w, "%s\t%s\tno report yet\n", b.Shop, cmp.Or(b.Area, "none"))
		}
		for _, week := range b.Weeks {
			hours, available, chance := "not known", "not known", "not known"
			if week.Hours.Valid {
				hours = report.Whole(week.Hours.V)
			}
			if week.Closed() {
				available, chance = "closed", "–"
			} else if week.Available.Valid {
				available, chance = report.Whole(week.Available.V), percent(week.Chance.V)
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", b.Shop, cmp.Or(b.Area, "none"), report.Day(week.Monday), report.Whole(week.DropOffs), hours, available, chance)
		}
	}
	return w.Flush()
}

// undone is work that failed when it was last tried, or a file that waits.
type undone struct {
	Shop  string `json:"shop"`
	What  string `json:"what"`
	Tries int    `json:"tries"`
	Why   string `json:"why"`
	again bool
}

func (u undone) String() string {
	switch {
	case u.Tries == 0:
		return u.What + " waits for a worker."
	case u.again:
		return fmt.Sprintf("%s waits. It failed %s, and is tried again: %s", u.What, times(u.Tries), u.Why)
	}
	return fmt.Sprintf("%s was given up. It failed %s: %s", u.What, times(u.Tries), u.Why)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// notDone gives the work of all shops that failed, and the files that wait.
func notDone(ctx context.Context, g *store.Group) ([]undone, error) {
	hands, err := workers.NewHands(g)
	if err != nil {
		return nil, err
	}
	failing, err := hands.Failing(ctx)
	if err != nil {
		return nil, err
	}
	files, err := g.WaitingFiles(ctx)
	if err != nil {
		return nil, err
	}
	out := []undone{}
	for _, f := range failing {
		out = append(out, undone{f.Shop, f.What, f.Tries, week.Plain(errors.New(f.Why)), !f.Next.IsZero()})
	}
	for _, f := range files {
		if !slices.ContainsFunc(failing, func(w workers.Failing) bool { return w.File == f.ID }) {
			out = append(out, undone{Shop: f.Shop, What: "the file " + f.File})
		}
	}
	slices.SortStableFunc(out, func(a, b undone) int { return cmp.Compare(a.Shop, b.Shop) })
	return out, nil
}

func percent(chance float64) string { return fmt.Sprintf("%.0f %%", 100*chance) }

// groupJSON is the answer for programs.
func groupJSON(briefs []store.Brief, loans []store.Loan, lent []capacity.Loan, waiting []undone) any {
	type week struct {
		Week           string   `json:"week"`
		DropOffs       float64  `json:"drop_offs"`
		Hours          *float64 `json:"hours"`
		AvailableHours *float64 `json:"available_hours"`
		ChanceShort    *float64 `json:"chance_short"`
	}
	type shop struct {
		Shop  string `json:"shop"`
		Area  string `json:"area"`
		AsOf  string `json:"as_of"`
		Weeks []week `json:"weeks"`
	}
	type change struct {
		Shop   string  `json:"shop"`
		Before float64 `json:"chance_short_before"`
		After  float64 `json:"chance_short_after"`
	}
	type loan struct {
		Week     string  `json:"week"`
		Hours    float64 `json:"hours"`
		Lender   change  `json:"lender"`
		Borrower change  `json:"borrower"`
	}
	out := struct {
		Schema int    `json:"schema"`
		Shops  []shop `json:"shops"`
		Loans  []loan `json:"loans"`

		NotDone []undone `json:"not_done"`
	}{1, []shop{}, []loan{}, waiting}
	for _, b := range briefs {
		s := shop{Shop: b.Shop, Area: b.Area, Weeks: []week{}}
		for _, w := range b.Weeks {
			s.AsOf = b.AsOf.String()
			j := week{Week: w.Monday.String(), DropOffs: w.DropOffs}
			if w.Hours.Valid {
				j.Hours = &w.Hours.V
			}
			if w.Available.Valid {
				j.AvailableHours, j.ChanceShort = &w.Available.V, &w.Chance.V
			}
			s.Weeks = append(s.Weeks, j)
		}
		out.Shops = append(out.Shops, s)
	}
	for i, l := range loans {
		out.Loans = append(out.Loans, loan{l.Monday.String(), lent[i].Hours, change{l.Lender, lent[i].Lender.Before, lent[i].Lender.After}, change{l.Borrower, lent[i].Borrower.Before, lent[i].Borrower.After}})
	}
	return out
}
