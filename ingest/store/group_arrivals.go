package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"
)

// MostHandedIn is the most bytes of a file that a group keeps until it is taken
// in: it is read whole.
const MostHandedIn = 64 << 20

// arrivalsFor is how long a file is kept that waits for a word: whoever chose it
// has gone home.
const arrivalsFor = 24 * time.Hour

// ErrNoArrival is the error of a file that a shop doesn't keep, or no more.
var ErrNoArrival = errors.New("store: need a file that waits, have none")

// AddArrival keeps a file that someone is about to hand in for a shop, with what
// is known of it, and drops those of all shops that have waited for a day. It
// keeps nothing, and gives false, where so many of the shop wait already.
func (g *Group) AddArrival(ctx context.Context, shop, id string, content, state []byte, at time.Time, most int) (ok bool, err error) {
	return ok, inTx(ctx, g.own, func(tx *sqlx.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM arrivals WHERE at < ?", at.Add(-arrivalsFor).Unix()); err != nil {
			return wrap(err)
		}
		r, err := tx.ExecContext(ctx, "INSERT INTO arrivals(id, shop, at, content, state) SELECT ?, ?, ?, ?, ? WHERE (SELECT count(*) FROM arrivals WHERE shop = ? AND content IS NOT NULL) < ?",
			id, shop, at.Unix(), content, string(state), shop, most)
		if err != nil {
			return wrap(err)
		}
		n, err := r.RowsAffected()
		ok = n == 1
		return wrap(err)
	})
}

// Arrival gives what is known of a shop's file; ErrNoArrival where there is none.
func (g *Group) Arrival(ctx context.Context, shop, id string) (state []byte, err error) {
	return state, arrivalErr(g.own.GetContext(ctx, &state, "SELECT state FROM arrivals WHERE id = ? AND shop = ?", id, shop))
}

// ArrivalContent gives the content of a shop's file; ErrNoArrival where there is
// none, or none any more.
func (g *Group) ArrivalContent(ctx context.Context, shop, id string) (content []byte, err error) {
	return content, arrivalErr(g.own.GetContext(ctx, &content, "SELECT content FROM arrivals WHERE id = ? AND shop = ? AND content IS NOT NULL", id, shop))
}

// ChangeArrival changes what is known of a shop's file, for one caller after the
// other. Where how says that the file's way has ended, its content goes.
func (g *Group) ChangeArrival(ctx context.Context, shop, id string, how func(state []byte) (now []byte, ended bool, err error)) error {
	return inTx(ctx, g.own, func(tx *sqlx.Tx) error {
		var state []byte
		if err := arrivalErr(tx.GetContext(ctx, &state, "SELECT state FROM arrivals WHERE id = ? AND shop = ? FOR UPDATE", id, shop)); err != nil {
			return err
		}
		now, ended, err := how(state)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "UPDATE arrivals SET state = ?, content = CASE WHEN ? THEN NULL ELSE content END WHERE id = ? AND shop = ?", string(now), ended, id, shop)
		return wrap(err)
	})
}

// RemoveArrival drops a shop's file.
func (g *Group) RemoveArrival(ctx context.Context, shop, id string) error {
	_, err := g.own.ExecContext(ctx, "DELETE FROM arrivals WHERE id = ? AND shop = ?", id, shop)
	return wrap(err)
}

func arrivalErr(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return ErrNoArrival
	}
	return wrap(err)
}
