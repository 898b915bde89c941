package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/json"
	"errors"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"freshet/forecast"
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

// Brief is what the group keeps of a shop's newest report.
type Brief struct {
	Shop, Title string
	Area        string
	AsOf        forecast.Date
	DataUntil   sql.Null[forecast.Date] // its last day with a record
	MadeAt      time.Time
	Teaches     bool   // it is no young shop
	Lesson      []byte // JSON of what it teaches; nil where it was not asked for, too
	Weeks       []BriefWeek
}

// BriefWeek is one week of it.
type BriefWeek struct {
	Monday                   forecast.Date
	DropOffs                 float64
	Hours, Available, Chance sql.Null[float64]
	Spare                    []byte // JSON; nil where the crew's side isn't known
}

// Closed tells whether the crew has no hours all week: that is short of nothing.
func (w BriefWeek) Closed() bool { return w.Available.Valid && w.Available.V == 0 }

// KeepBrief keeps a shop's brief in the earlier one's place.
func (g *Group) KeepBrief(ctx context.Context, b Brief) error {
	worst := -1.
	for _, w := range b.Weeks {
		if w.Chance.Valid && !w.Closed() {
			worst = max(worst, w.Chance.V)
		}
	}
	return inTx(ctx, g.own, func(tx *sqlx.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM briefs WHERE shop = ?", b.Shop); err != nil {
			return wrap(err)
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO briefs(shop, title, as_of, data_until, made_at, worst, lesson) VALUES(?, ?, ?, ?, ?, ?, ?)",
			b.Shop, b.Title, b.AsOf.String(), dayOrNull(b.DataUntil), instant(b.MadeAt), worst, textOrNull(b.Lesson)); err != nil {
			return wrap(err)
		}
		if len(b.Weeks) == 0 {
			return nil
		}
		var args []any
		for _, w := range b.Weeks {
			args = append(args, b.Shop, w.Monday.String(), w.DropOffs, w.Hours, w.Available, w.Chance, textOrNull(w.Spare))
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO brief_weeks(shop, monday, drop_offs, hours, available, chance, spare) VALUES"+strings.Repeat(", (?, ?, ?, ?, ?, ?, ?)", len(b.Weeks))[1:], args...)
		return wrap(err)
	})
}

func textOrNull(text []byte) sql.Null[string] {
	return sql.Null[string]{V: string(text), Valid: text != nil}
}

func dayOrNull(d sql.Null[forecast.Date]) sql.Null[string] {
	return sql.Null[string]{V: d.V.String(), Valid: d.Valid}
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

// Newest tells of the newest briefs, in a text that changes with each; empty
// where there are none.
func (g *Group) Newest(ctx context.Context) (of string, err error) {
	err = g.own.GetContext(ctx, &of, "SELECT CASE WHEN count(*) = 0 THEN '' ELSE count(*) || ' until ' || max(made_at) END FROM briefs")
	return of, wrap(err)
}

// Picked says which shops' briefs to give.
type Picked struct {
	Member      string // whose shops; empty: all
	First, Most int    // of them, those in most trouble first; Most 0: all
	Lessons     bool   // with what they teach, too
}

// Briefs gives shops' briefs, those with the greatest chance of too few hours
// first. A shop without a brief has no weeks.
func (g *Group) Briefs(ctx context.Context, p Picked) ([]Brief, error) {
	var most any
	if p.Most > 0 {
		most = p.Most
	}
	whose, args := ofMember(p.Member, "s.name")
	rows, err := g.own.QueryContext(ctx, `SELECT s.name, s.area, coalesce(title, ''), as_of, data_until, coalesce(made_at, ''), lesson IS NOT NULL, CASE WHEN ? THEN lesson END
		FROM shops s LEFT JOIN briefs b ON b.shop = s.name `+whose+` ORDER BY coalesce(worst, -2) DESC, s.name LIMIT ? OFFSET ?`,
		slices.Concat([]any{p.Lessons}, args, []any{most, p.First})...)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []Brief
	names := []string{}
	at := map[string]int{}
	for rows.Next() {
		var b Brief
		var asOf, until, lesson sql.Null[string]
		var made string
		if err := rows.Scan(&b.Shop, &b.Area, &b.Title, &asOf, &until, &made, &b.Teaches, &lesson); err != nil {
			return nil, wrap(err)
		}
		day, err := date(asOf)
		if err != nil {
			return nil, wrap(err)
		}
		b.AsOf = day.V
		if b.DataUntil, err = date(until); err != nil {
			return nil, wrap(err)
		}
		if made != "" {
			if b.MadeAt, err = time.Parse(time.RFC3339, made); err != nil {
				return nil, wrap(err)
			}
		}
		if lesson.Valid {
			b.Lesson = []byte(lesson.V)
		}
		at[b.Shop] = len(out)
		out, names = append(out, b), append(names, b.Shop)
	}
	if err := rows.Err(); err != nil {
		return nil, wrap(err)
	}
	rows.Close()
	list, err := json.Marshal(names)
	if err != nil {
		return nil, wrap(err)
	}
	weeks, err := g.own.QueryContext(ctx, "SELECT shop, monday, drop_offs, hours, available, chance, spare FROM brief_weeks WHERE shop = ANY(ARRAY(SELECT json_array_elements_text(?::json))) ORDER BY shop, monday", string(list))
	if err != nil {
		return nil, wrap(err)
	}
	defer weeks.Close()
	for weeks.Next() {
		var w BriefWeek
		var shop, monday string
		var spare sql.Null[string]
		if err := weeks.Scan(&shop, &monday, &w.DropOffs, &w.Hours, &w.Available, &w.Chance, &spare); err != nil {
			return nil, wrap(err)
		}
		if w.Monday, err = forecast.ParseDate(monday); err != nil {
			return nil, wrap(err)
		}
		if spare.Valid {
			w.Spare = []byte(spare.V)
		}
		b := &out[at[shop]]
		b.Weeks = append(b.Weeks, w)
	}
	return out, wrap(weeks.Err())
}

// ofMember gives the condition that leaves a member's shops alone, and its
// argument; neither under an empty name. By a list of the few shops PostgreSQL
// finds their rows; asked of each row, it reads all shops'.
func ofMember(member, shop string) (where string, args []any) {
	if member == "" {
		return "", nil
	}
	return "WHERE " + shop + " = ANY(ARRAY(SELECT shop FROM members WHERE member = ?))", []any{member}
}

// GroupWeek is the sum of a week over shops.
type GroupWeek struct {
	Monday                     forecast.Date
	Shops, Closed              int // that have the week, and are closed in it
	Short                      int // of those that aren't, whose chance of too few hours is more than over
	DropOffs, Hours, Available float64
}

// Open is how many shops aren't closed.
func (w GroupWeek) Open() int { return w.Shops - w.Closed }

// Sums gives the weeks' sums over a member's shops, or all under an empty name.
func (g *Group) Sums(ctx context.Context, member string, over float64) ([]GroupWeek, error) {
	whose, args := ofMember(member, "shop")
	rows, err := g.own.QueryContext(ctx, `SELECT monday, count(*), count(*) FILTER (WHERE available = 0), count(*) FILTER (WHERE chance > ? AND available > 0), sum(drop_offs), coalesce(sum(hours), 0), coalesce(sum(available), 0)
		FROM brief_weeks `+whose+` GROUP BY monday ORDER BY monday`, slices.Concat([]any{over}, args)...)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []GroupWeek
	for rows.Next() {
		var w GroupWeek
		var monday string
		if err := rows.Scan(&monday, &w.Shops, &w.Closed, &w.Short, &w.DropOffs, &w.Hours, &w.Available); err != nil {
			return nil, wrap(err)
		}
		if w.Monday, err = forecast.ParseDate(monday); err != nil {
			return nil, wrap(err)
		}
		out = append(out, w)
	}
	return out, wrap(rows.Err())
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

// HandIn keeps a file that is to be taken in for a shop, and gives its number.
func (g *Group) HandIn(ctx context.Context, shop, file string, content []byte) (id int64, err error) {
	err = g.own.GetContext(ctx, &id, "INSERT INTO handed_in(shop, file, content) VALUES(?, ?, ?) RETURNING id", shop, file, content)
	return id, wrap(err)
}

// HandedIn gives a file that was handed in, or what became of it, which then
// isn't empty.
func (g *Group) HandedIn(ctx context.Context, id int64) (shop, file string, content []byte, said string, err error) {
	err = g.own.QueryRowContext(ctx, "SELECT shop, file, content, said FROM handed_in WHERE id = ?", id).Scan(&shop, &file, &content, &said)
	return shop, file, content, said, wrap(err)
}

// TakenIn keeps what became of a file, and no longer its content.
func (g *Group) TakenIn(ctx context.Context, id int64, said string) error {
	_, err := g.own.ExecContext(ctx, "UPDATE handed_in SET content = NULL, said = ? WHERE id = ?", said, id)
	return wrap(err)
}

// Secret gives the group's secret of a name, made at the first time: the same
// for every process.
func (g *Group) Secret(ctx context.Context, name string) (value []byte, err error) {
	fresh := make([]byte, 32)
	rand.Read(fresh)
	if _, err := g.own.ExecContext(ctx, "INSERT INTO secrets(name, value) VALUES(?, ?) ON CONFLICT(name) DO NOTHING", name, fresh); err != nil {
		return nil, wrap(err)
	}
	err = g.own.GetContext(ctx, &value, "SELECT value FROM secrets WHERE name = ?", name)
	return value, wrap(err)
}

// Front is a store of the group itself: of its sessions and guesses at
// passphrases, and nothing else.
func (g *Group) Front() *Store { return &Store{group: g, w: g.own, r: g.own} }

// SetUser keeps a user's passphrase, by its hash.
func (g *Group) SetUser(ctx context.Context, name, hash string, now time.Time) error {
	_, err := g.own.ExecContext(ctx, "INSERT INTO users(name, hash, set_at) VALUES(?, ?, ?) ON CONFLICT(name) DO UPDATE SET hash = excluded.hash, set_at = excluded.set_at",
		name, hash, now.UTC().Format(time.RFC3339Nano))
	return wrap(err)
}

// User gives the hash kept for a user and when it was set, both empty if there
// is none of that name.
func (g *Group) User(ctx context.Context, name string) (hash, set string, err error) {
	err = g.own.QueryRowContext(ctx, "SELECT hash, set_at FROM users WHERE name = ?", name).Scan(&hash, &set)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", nil
	}
	return hash, set, wrap(err)
}

// RemoveUser forgets a user, and tells whether there was one of that name.
func (g *Group) RemoveUser(ctx context.Context, name string) (had bool, err error) {
	r, err := g.own.ExecContext(ctx, "DELETE FROM users WHERE name = ?", name)
	if err != nil {
		return false, wrap(err)
	}
	n, err := r.RowsAffected()
	return n > 0, wrap(err)
}

// SetMember lets a user into a shop as counter or owner; an empty role shuts him
// out.
func (g *Group) SetMember(ctx context.Context, user, shop, role string) error {
	query, args := "INSERT INTO members(member, shop, role) VALUES(?, ?, ?) ON CONFLICT(member, shop) DO UPDATE SET role = excluded.role", []any{user, shop, role}
	if role == "" {
		query, args = "DELETE FROM members WHERE member = ? AND shop = ?", args[:2]
	}
	_, err := g.own.ExecContext(ctx, query, args...)
	return wrap(err)
}

// Role gives what a user is in a shop, empty if nothing.
func (g *Group) Role(ctx context.Context, user, shop string) (role string, err error) {
	err = g.own.GetContext(ctx, &role, "SELECT role FROM members WHERE member = ? AND shop = ?", user, shop)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return role, wrap(err)
}

// Member is a user's place in a shop.
type Member struct{ User, Shop, Role string }

// Members gives all of them, in order; users without a shop have one that is
// empty.
func (g *Group) Members(ctx context.Context) ([]Member, error) {
	var out []Member
	rows, err := g.own.QueryContext(ctx, "SELECT name, coalesce(shop, ''), coalesce(role, '') FROM users LEFT JOIN members ON member = name ORDER BY name, shop")
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	for rows.Next() {
		var m Member
		if err := rows.Scan(&m.User, &m.Shop, &m.Role); err != nil {
			return nil, wrap(err)
		}
		out = append(out, m)
	}
	return out, wrap(rows.Err())
}
