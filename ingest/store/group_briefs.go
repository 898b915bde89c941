package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"freshet/forecast"

	"github.com/jmoiron/sqlx"
)

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

// dayIfAny is the inverse of dayOrNull.
func dayIfAny(text sql.Null[string]) (sql.Null[forecast.Date], error) {
	if !text.Valid {
		return sql.Null[forecast.Date]{}, nil
	}
	d, err := forecast.ParseDate(text.V)
	return sql.Null[forecast.Date]{V: d, Valid: true}, err
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
		day, err := dayIfAny(asOf)
		if err != nil {
			return nil, wrap(err)
		}
		b.AsOf = day.V
		if b.DataUntil, err = dayIfAny(until); err != nil {
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
