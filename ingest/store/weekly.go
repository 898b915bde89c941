package store

import (
	"cmp"
	"database/sql/driver"
	"maps"

	"freshet/forecast"
)

// weeks are those in which job lines were dropped off that a transaction has
// changed: before, after, or both. The zero value has none.
type weeks struct {
	latest forecast.Date // a Monday; most rows of a file are of the same week as the one before
	all    map[forecast.Date]struct{}
}

func (w *weeks) touch(day forecast.Date) {
	monday := day.Monday()
	if monday == w.latest && w.all != nil {
		return
	}
	if w.all == nil {
		w.all = map[forecast.Date]struct{}{}
	}
	w.latest, w.all[monday] = monday, struct{}{}
}

// total counts these weeks' job lines anew.
func (w *weeks) total(tx *session) error {
	clear, err := tx.prepare("DELETE FROM weekly WHERE monday = ?")
	if err != nil {
		return err
	}
	count, err := tx.prepare(`INSERT INTO weekly SELECT ?1, kind, count(*), min(dropped_off), max(dropped_off)
		FROM job_lines WHERE dropped_off BETWEEN ?1 AND ?2 GROUP BY kind`)
	if err != nil {
		return err
	}
	for monday := range maps.Keys(w.all) {
		_, err1 := clear.exec(monday.String())
		_, err2 := count.exec(monday.String(), (monday + 6).String())
		if err := cmp.Or(err1, err2); err != nil {
			return err
		}
	}
	return nil
}

// A week's lines of one kind: what weekly holds, and what it should hold.
type (
	weekKind struct{ monday, kind string }
	weekly   struct {
		lines       int64
		first, last string
	}
)

// addDay takes in a day's lines of one kind, as byDay gives them.
func addDay(totals map[weekKind]weekly, day, kind string, lines int64) error {
	d, err := forecast.ParseDate(day)
	if err != nil {
		return wrap(err)
	}
	key := weekKind{d.Monday().String(), kind}
	w, ok := totals[key]
	if !ok {
		w.first, w.last = day, day
	}
	totals[key] = weekly{w.lines + lines, min(w.first, day), max(w.last, day)}
	return nil
}

const byDay = "SELECT dropped_off, kind, count(*) FROM job_lines GROUP BY dropped_off, kind"

// totalAll counts all weeks anew.
func totalAll(tx *session) error {
	all, err := tx.prepare(byDay)
	if err != nil {
		return err
	}
	totals := map[weekKind]weekly{}
	if err := all.each(func(v []driver.Value) error { return addDay(totals, v[0].(string), v[1].(string), v[2].(int64)) }); err != nil {
		return err
	}
	if err := tx.exec("DELETE FROM weekly"); err != nil {
		return err
	}
	put, err := tx.prepare("INSERT INTO weekly(monday, kind, lines, first, last) VALUES(?, ?, ?, ?, ?)")
	if err != nil {
		return err
	}
	for of, w := range totals {
		if _, err := put.exec(of.monday, of.kind, w.lines, w.first, w.last); err != nil {
			return err
		}
	}
	return nil
}
