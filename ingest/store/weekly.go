package store

import (
	"cmp"
	"database/sql/driver"

	"freshet/forecast"
)

// weeks are those in which a transaction has changed job lines. Lines that came
// are added up as they come; a week in which one went or changed is counted
// anew. The zero value has none.
type weeks struct {
	anew   map[forecast.Date]struct{}
	came   map[forecast.Date]map[string]*lines // by week and kind
	kinds  int                                 // in came
	monday forecast.Date                       // of latest
	latest map[string]*lines                   // of came: most rows of a file are of the same week as the one before
}

// lines of one kind in one week.
type lines struct {
	n           int64
	first, last forecast.Date
}

// keptKinds bounds weeks and kinds that are added up before they are written.
const keptKinds = 1 << 12

// touch takes in that a line of that day went or changed.
func (w *weeks) touch(day forecast.Date) {
	if w.anew == nil {
		w.anew = map[forecast.Date]struct{}{}
	}
	w.anew[day.Monday()] = struct{}{}
}

// add takes in that a line came. It is true when there are so many that they
// have to be written.
func (w *weeks) add(day forecast.Date, kind string) (full bool) {
	if monday := day.Monday(); w.latest == nil || monday != w.monday {
		if w.came == nil {
			w.came = map[forecast.Date]map[string]*lines{}
		}
		if w.came[monday] == nil {
			w.came[monday] = map[string]*lines{}
		}
		w.monday, w.latest = monday, w.came[monday]
	}
	l := w.latest[kind]
	if l == nil {
		l = &lines{first: day, last: day}
		w.latest[kind] = l
		w.kinds++
	}
	l.n, l.first, l.last = l.n+1, min(l.first, day), max(l.last, day)
	return w.kinds >= keptKinds
}

// write adds the lines that came to the totals.
func (w *weeks) write(tx *session) error {
	more, err := tx.prepare(`INSERT INTO weekly AS w(monday, kind, lines, first, last) VALUES(?, ?, ?, ?, ?)
		ON CONFLICT(monday, kind) DO UPDATE SET lines = w.lines + excluded.lines,
		first = CASE WHEN excluded.first < w.first THEN excluded.first ELSE w.first END,
		last = CASE WHEN excluded.last > w.last THEN excluded.last ELSE w.last END`)
	if err != nil {
		return err
	}
	for monday, kinds := range w.came {
		for kind, l := range kinds {
			if _, err := more.exec(monday.String(), kind, l.n, l.first.String(), l.last.String()); err != nil {
				return err
			}
		}
	}
	w.came, w.latest, w.kinds = nil, nil, 0
	return nil
}

// total brings these weeks' totals up to date.
func (w *weeks) total(tx *session) error {
	if err := w.write(tx); err != nil {
		return err
	}
	clear, err := tx.prepare("DELETE FROM weekly WHERE monday = ?")
	if err != nil {
		return err
	}
	count, err := tx.prepare(`INSERT INTO weekly SELECT ?1, kind, count(*), min(dropped_off), max(dropped_off)
		FROM job_lines WHERE dropped_off BETWEEN ?1 AND ?2 GROUP BY kind`)
	if err != nil {
		return err
	}
	for monday := range w.anew {
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
