package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"

	"freshet/forecast"

	"github.com/jmoiron/sqlx"
)

// Quote is one as it was given at the counter.
type Quote struct {
	ID            int64
	GivenAt       time.Time
	AsOf          forecast.Date
	DropOff       forecast.Date // day on which the rig comes; the zero Date is that of AsOf
	Held          bool          // its place in line is kept from AsOf on
	Kind          string
	Hours         sql.Null[float64] // quoted; not valid where the kind's usual was taken
	PartsDays     sql.Null[float64]
	Emergency     bool
	P50, P80, P90 forecast.Date
	RO            string // repair order that it became, if anyone said
}

// KeepQuote keeps a quote, and gives its number.
func (s *Store) KeepQuote(ctx context.Context, q Quote) (int64, error) {
	var id int64
	err := s.within(ctx, func(tx *sqlx.Tx) error {
		return wrap(tx.Get(&id, "INSERT INTO quotes(given_at, as_of, drop_off, held, kind, hours, parts_days, emergency, p50, p80, p90, ro) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
			instant(q.GivenAt), q.AsOf.String(), cmp.Or(q.DropOff, q.AsOf).String(), bit(q.Held), q.Kind, q.Hours, q.PartsDays, bit(q.Emergency), q.P50.String(), q.P80.String(), q.P90.String(), q.RO))
	})
	return id, err
}

// Quotes gives the newest quotes.
func (s *Store) Quotes(ctx context.Context, most int) ([]Quote, error) {
	rows, err := s.r.QueryContext(ctx, "SELECT id, given_at, as_of, coalesce(drop_off, as_of), held, kind, hours, parts_days, emergency, p50, p80, p90, ro FROM quotes ORDER BY id DESC LIMIT ?", most)
	if err != nil {
		return nil, wrap(err)
	}
	defer rows.Close()
	var out []Quote
	for rows.Next() {
		var q Quote
		var given string
		var days [5]string
		if err := rows.Scan(&q.ID, &given, &days[0], &days[1], &q.Held, &q.Kind, &q.Hours, &q.PartsDays, &q.Emergency, &days[2], &days[3], &days[4], &q.RO); err != nil {
			return nil, wrap(err)
		}
		if q.GivenAt, err = time.Parse(time.RFC3339, given); err != nil {
			return nil, fmt.Errorf("store: quote %d: %w", q.ID, err)
		}
		for i, into := range []*forecast.Date{&q.AsOf, &q.DropOff, &q.P50, &q.P80, &q.P90} {
			if *into, err = forecast.ParseDate(days[i]); err != nil {
				return nil, fmt.Errorf("store: quote %d: %w", q.ID, err)
			}
		}
		out = append(out, q)
	}
	return out, wrap(rows.Err())
}
