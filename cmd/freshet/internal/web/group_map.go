package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"

	"freshet/capacity"
	"freshet/ingest/store"
)

// shopsAPage is how many shops the group's page shows at once, those in most
// trouble first, and mostLoans how many loans.
const shopsAPage, mostLoans = 50, 20

// Chances of too few hours from which a week is tight, and short.
const tight, isShort = .1, .2

type groupShop struct {
	Name, Title, Area string
	Cells             []groupCell
}

// groupCell is one shop's week on the map.
type groupCell struct {
	Shade string // fine, tight or short; closed; empty: not known
	Share string // chance
}

type groupLoan struct {
	store.Loan
	Of capacity.Loan
}

// page shows the user's shops: their weeks together, who is short when, and
// who may lend whom a technician. It shows what the night kept.
func (g *Group) page(w http.ResponseWriter, r *http.Request) error {
	user, err := g.user(r)
	if err != nil {
		return err
	}
	ctx := r.Context()
	first := 0
	if _, err := fmt.Sscan(r.URL.Query().Get("from"), &first); err != nil || first < 0 {
		first = 0
	}
	var data struct {
		Weeks      []store.GroupWeek
		Shops      []groupShop
		Loans      []groupLoan
		Next, Back *int
	}
	if data.Weeks, err = g.Group.Sums(ctx, user, isShort); err != nil {
		return err
	}
	briefs, err := g.Group.Briefs(ctx, store.Picked{Member: user, First: first, Most: shopsAPage + 1})
	if err != nil {
		return err
	}
	if len(briefs) > shopsAPage {
		next := first + shopsAPage
		data.Next, briefs = &next, briefs[:shopsAPage]
	}
	if first > 0 {
		back := max(0, first-shopsAPage)
		data.Back = &back
	}
	for _, b := range briefs {
		data.Shops = append(data.Shops, onMap(b, data.Weeks))
	}
	loans, err := g.Group.Loans(ctx, user, mostLoans)
	if err != nil {
		return err
	}
	for _, l := range loans {
		shown := groupLoan{Loan: l}
		if err := json.Unmarshal(l.Loan, &shown.Of); err != nil {
			return err
		}
		data.Loans = append(data.Loans, shown)
	}
	return g.show(w, r, page{Template: "group", Title: "All shops", Data: data})
}

// onMap gives a shop's row of the map.
func onMap(b store.Brief, weeks []store.GroupWeek) groupShop {
	s := groupShop{Name: b.Shop, Title: b.Title, Area: b.Area}
	if s.Title == "" {
		s.Title = b.Shop
	}
	for _, w := range weeks {
		c := groupCell{}
		if i := slices.IndexFunc(b.Weeks, func(bw store.BriefWeek) bool { return bw.Monday == w.Monday }); i >= 0 && b.Weeks[i].Chance.Valid {
			chance := b.Weeks[i].Chance.V
			c = groupCell{"fine", fmt.Sprintf("%.0f %%", 100*chance)}
			switch {
			case b.Weeks[i].Closed():
				c = groupCell{Shade: "closed"}
			case chance > isShort:
				c.Shade = "short"
			case chance > tight:
				c.Shade = "tight"
			}
		}
		s.Cells = append(s.Cells, c)
	}
	return s
}
