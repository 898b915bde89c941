package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"text/tabwriter"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/week"
	"freshet/cmd/freshet/internal/workers"
	"freshet/ingest/store"
	"freshet/report"
)

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
	file  int64 // that was handed in, or 0
}

func (u undone) String() string { return u.What + " " + u.stands() }

// stands says how it stands with it.
func (u undone) stands() string {
	switch {
	case u.Tries == 0:
		return "waits for a worker."
	case u.again:
		return fmt.Sprintf("waits. It failed %s, and is tried again: %s", times(u.Tries), u.Why)
	}
	return fmt.Sprintf("was given up. It failed %s: %s", times(u.Tries), u.Why)
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
		out = append(out, undone{f.Shop, f.What, f.Tries, week.Plain(errors.New(f.Why)), !f.Next.IsZero(), f.File})
	}
	for _, f := range files {
		if !slices.ContainsFunc(failing, func(w workers.Failing) bool { return w.File == f.ID }) {
			out = append(out, undone{Shop: f.Shop, What: "the file " + f.File, file: f.ID})
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
