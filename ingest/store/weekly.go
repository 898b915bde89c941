package store

import (
	"cmp"
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

// wholeWeekly is what weekly should hold.
const wholeWeekly = `SELECT date(dropped_off, 'weekday 0', '-6 days') AS monday, kind, count(*), min(dropped_off), max(dropped_off)
	FROM job_lines GROUP BY monday, kind`

// totalAll counts all weeks anew.
func totalAll(tx *session) error {
	return cmp.Or(tx.exec("DELETE FROM weekly"), tx.exec("INSERT INTO weekly "+wholeWeekly))
}
