package store

import (
	"context"
	"net/url"

	"freshet/forecast"

	"github.com/jmoiron/sqlx"
)

// NamesShop tells whether an address names one of the group's shops.
func NamesShop(address string) bool {
	u, err := url.Parse(address)
	return err == nil && u.Query().Get("shop") != ""
}

// Round says when a shop's work is due, and how far it is done.
type Round struct {
	Shop     string
	Zone     string // where its days begin, and
	Schedule string // the letter's, in cron's five fields; both empty before the first night
	Night    string // the last day, YYYY-MM-DD, whose night's work is done
	Letter   string // the last ISO week, 2026-W48, whose letter's work is done
}

// Rounds gives that of every shop, in order.
func (g *Group) Rounds(ctx context.Context) (all []Round, err error) {
	err = g.own.SelectContext(ctx, &all, `SELECT s.name AS shop, coalesce(zone, '') AS zone, coalesce(schedule, '') AS schedule, coalesce(night, '') AS night, coalesce(letter, '') AS letter
		FROM shops s LEFT JOIN rounds r ON r.shop = s.name ORDER BY s.name`)
	return all, wrap(err)
}

// SetRound keeps a shop's zone and schedule, and how far its work is done: that
// never goes back.
func (g *Group) SetRound(ctx context.Context, r Round) error {
	_, err := g.own.ExecContext(ctx, `INSERT INTO rounds(shop, zone, schedule, night, letter) VALUES(?, ?, ?, ?, ?) ON CONFLICT(shop) DO UPDATE
		SET zone = excluded.zone, schedule = excluded.schedule, night = greatest(rounds.night, excluded.night), letter = greatest(rounds.letter, excluded.letter)`,
		r.Shop, r.Zone, r.Schedule, r.Night, r.Letter)
	return wrap(err)
}

// SetArea says in which area a shop is.
func (g *Group) SetArea(ctx context.Context, shop, area string) error {
	_, err := g.own.ExecContext(ctx, "UPDATE shops SET area = ? WHERE name = ?", area, shop)
	return wrap(err)
}

func inTx(ctx context.Context, db *sqlx.DB, do func(*sqlx.Tx) error) error {
	tx, err := db.BeginTxx(ctx, nil)
	if err != nil {
		return wrap(err)
	}
	defer tx.Rollback()
	if err := do(tx); err != nil {
		return err
	}
	return wrap(tx.Commit())
}

// Loan is a technician that one shop may lend another.
type Loan struct {
	Monday           forecast.Date
	Lender, Borrower string
	Loan             []byte // JSON

	LenderTitle, BorrowerTitle string // as people call them; Loans gives them
}

// KeepLoans keeps loans in the place of all that there are.
func (g *Group) KeepLoans(ctx context.Context, loans []Loan) error {
	return inTx(ctx, g.own, func(tx *sqlx.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM loans"); err != nil {
			return wrap(err)
		}
		for _, l := range loans {
			if _, err := tx.ExecContext(ctx, "INSERT INTO loans(monday, lender, borrower, loan) VALUES(?, ?, ?, ?)", l.Monday.String(), l.Lender, l.Borrower, string(l.Loan)); err != nil {
				return wrap(err)
			}
		}
		return nil
	})
}

// Loans gives the loans between a member's shops, or all under an empty name, in
// order, so many at most.
func (g *Group) Loans(ctx context.Context, member string, most int) ([]Loan, error) {
	rows, err := g.own.QueryContext(ctx, `SELECT monday, lender, borrower, loan, coalesce(nullif(l.title, ''), lender), coalesce(nullif(b.title, ''), borrower)
		FROM loans LEFT JOIN briefs l ON l.shop = lender LEFT JOIN briefs b ON b.shop = borrower WHERE ? = '' OR
		EXISTS (SELECT 1 FROM members WHERE member = ? AND shop = lender) AND EXISTS (SELECT 1 FROM members WHERE member = ? AND shop = borrower) ORDER BY monday, borrower LIMIT ?`, member, member, member, most)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []Loan
	for rows.Next() {
		var l Loan
		var monday, text string
		if err := rows.Scan(&monday, &l.Lender, &l.Borrower, &text, &l.LenderTitle, &l.BorrowerTitle); err != nil {
			return nil, wrap(err)
		}
		if l.Monday, err = forecast.ParseDate(monday); err != nil {
			return nil, wrap(err)
		}
		l.Loan = []byte(text)
		out = append(out, l)
	}
	return out, wrap(rows.Err())
}
