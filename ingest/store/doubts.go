package store

import (
	"database/sql/driver"
	"fmt"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/ingest"
)

const (
	reused     = 60      // days apart from which on one repair order's number is doubted
	remembered = 1 << 15 // repair orders whose days are remembered: years of a shop
	sudden     = 26 * 7  // days of records before a new kind of work is remarkable
	fewestNew  = 10      // rows of such a kind within its first four weeks
	surge      = 5       // times the usual week
	shown      = 5       // of doubts of one sort
)

// doubts looks at drop-offs as a whole: at what no row can tell by itself.
type doubts struct {
	first, last forecast.Date // of the file
	kept        []uint64      // bit per row number: job lines that the file repeats
	seen        int           // how many
	days        map[string]forecast.Date
	twice       reuses // of numbers within the file
	before      reuses // of numbers on record before
}

// reuses tell of repair orders' numbers used for two visits.
type reuses struct {
	first []string // shown of them
	more  int      // beyond those
}

func (r *reuses) add(ro, one, other string) {
	if len(r.first) == shown {
		r.more++
		return
	}
	r.first = append(r.first, fmt.Sprintf("repair order %s was dropped off on %s and on %s: is the number used again?", ro, one, other))
}

// see takes in a row of the file, ahead of its being written: it touches
// nothing that the other methods do before the file has been read.
func (x *doubts) see(d *ingest.DropOff) {
	in := d.DroppedOff
	if x.days == nil {
		x.days, x.first, x.last = map[string]forecast.Date{}, in, in
	}
	x.first, x.last = min(x.first, in), max(x.last, in)
	if len(x.days) >= remembered {
		clear(x.days)
	}
	if earlier, ok := x.days[d.RO]; !ok {
		x.days[d.RO] = in
	} else if in-earlier > reused || earlier-in > reused {
		x.twice.add(d.RO, inWords(earlier), inWords(in))
		x.days[d.RO] = in
	}
}

// moved takes in an updated job line of a repair order: the days it was dropped
// off by the records before and now.
func (x *doubts) moved(ro string, then, now forecast.Date) {
	if now-then > reused || then-now > reused {
		x.before.add(ro, inWords(then)+" (on record before)", inWords(now))
	}
}

// still marks a job line on record as repeated by the file.
func (x *doubts) still(row int64) {
	for int(row/64) >= len(x.kept) {
		x.kept = append(x.kept, make([]uint64, 1+len(x.kept))...)
	}
	if x.kept[row/64]&(1<<(row%64)) == 0 {
		x.kept[row/64] |= 1 << (row % 64)
		x.seen++
	}
}

func (x *doubts) has(row int64) bool {
	return int(row/64) < len(x.kept) && x.kept[row/64]&(1<<(row%64)) != 0
}

// weigh adds what is doubtful to the taker's batch.
func (x *doubts) weigh(t *taker) error {
	add := func(format string, args ...any) { t.b.Doubts = append(t.b.Doubts, fmt.Sprintf(format, args...)) }
	t.b.Doubts = append(append(t.b.Doubts, x.twice.first...), x.before.first...)
	if more := x.twice.more + x.before.more; more > 0 {
		add("and %d more with drop-offs more than %d days apart", more, reused)
	}
	if x.days == nil {
		return nil
	}
	if x.seen+t.b.Updated > 0 && !t.b.Mended { // which lacks all rows but those
		if err := x.missing(t, add); err != nil {
			return err
		}
	}
	if t.b.Added+t.b.Updated == 0 {
		return nil
	}
	if err := x.weeks(t, add); err != nil {
		return err
	}
	return x.kinds(t, add)
}

// missing reports job lines on record that an export of the same days no
// longer has. Nothing is removed: the file may be of some jobs only. If it
// repeats less than half of what is on record, it surely is.
func (x *doubts) missing(t *taker, add func(string, ...any)) error {
	gone, n := []string{}, 0
	st, err := t.tx.prepare("SELECT rowid, ro, dropped_off, kind FROM job_lines NOT INDEXED WHERE batch <> ? AND dropped_off BETWEEN ? AND ? ORDER BY rowid")
	if err != nil {
		return err
	}
	if err := st.each(func(v []driver.Value) error {
		if x.has(v[0].(int64)) {
			return nil
		}
		if n++; len(gone) == shown {
			return nil
		}
		day, err := forecast.ParseDate(v[2].(string))
		gone = append(gone, strings.TrimSpace(fmt.Sprintf("%s of %s %s", v[1], inWords(day), v[3])))
		return err
	}, t.b.ID, x.first.String(), x.last.String()); err != nil {
		return err
	}
	if n > 0 && n <= x.seen+t.b.Updated {
		rows := "rows on record from %s to %s are not in this file, and are kept: %s; a job that never was can be taken out on the page Jobs"
		if n == 1 {
			rows = strings.NewReplacer("rows", "row", "are", "is").Replace(rows)
		}
		add("%d "+rows, n, inWords(x.first), inWords(x.last), strings.Join(gone, "; "))
	}
	return nil
}

// weeks reports whole weeks of the file's days without any drop-off, or with
// five times the usual. A few rows a week tell nothing.
func (x *doubts) weeks(t *taker, add func(string, ...any)) error {
	from := x.first.Monday() + 7 // the first and the last week may be cut
	n := int(x.last.Monday()-from) / 7
	if n < 8 {
		return nil
	}
	counts := make([]int, n)
	st, err := t.tx.prepare("SELECT monday, sum(lines) FROM weekly WHERE monday BETWEEN ? AND ? GROUP BY monday")
	if err != nil {
		return err
	}
	if err := st.each(func(v []driver.Value) error {
		d, err := forecast.ParseDate(v[0].(string))
		if err == nil {
			counts[int(d-from)/7] = int(v[1].(int64))
		}
		return err
	}, from.String(), (from + forecast.Date(7*(n-1))).String()); err != nil {
		return err
	}
	sorted := slices.Sorted(slices.Values(counts))
	usual := sorted[n/2]
	if usual < 5 {
		return nil
	}
	var empty, full []string
	for i, c := range counts {
		monday := from + forecast.Date(7*i)
		switch {
		case c == 0:
			empty = append(empty, inWords(monday))
		case c >= surge*usual:
			full = append(full, fmt.Sprintf("%s (%d)", inWords(monday), c))
		}
	}
	if len(empty) > 0 {
		add("no drop-offs at all in the week of %s: a week usually has %d. Is a file of that time still to be imported?", several(empty, "; "), usual)
	}
	if len(full) > 0 {
		add("%d times the usual %d drop-offs or more in the week of %s: were records entered later, on one day?", surge, usual, several(full, "; "))
	}
	return nil
}

// kinds reports kinds of work that come up suddenly, long after the records
// begin: they may be old ones under a new name.
func (x *doubts) kinds(t *taker, add func(string, ...any)) error {
	st, err := t.tx.prepare("SELECT kind, min(first), (SELECT min(first) FROM weekly) FROM weekly GROUP BY kind ORDER BY kind")
	if err != nil {
		return err
	}
	count, err := t.tx.prepare("SELECT count(*) FROM job_lines WHERE dropped_off BETWEEN ? AND ? AND kind = ? AND batch = ?")
	if err != nil {
		return err
	}
	var fresh []string
	if err := st.each(func(v []driver.Value) error {
		day, err := forecast.ParseDate(v[1].(string))
		if err != nil {
			return err
		}
		start, err := forecast.ParseDate(v[2].(string))
		if err != nil || day-start < sudden || day < x.first {
			return err
		}
		return count.each(func(n []driver.Value) error {
			if n[0].(int64) >= fewestNew {
				fresh = append(fresh, fmt.Sprintf("%q (%d from %s on)", v[0], n[0], inWords(day)))
			}
			return nil
		}, day.String(), (day + 27).String(), v[0], t.b.ID)
	}); err != nil {
		return err
	}
	if len(fresh) > 0 {
		add("work of a new kind: %s; is it an old kind under another name? Then 'freshet kinds merge' puts them together", several(fresh, "; "))
	}
	return nil
}

// inWords writes a day as people do.
func inWords(d forecast.Date) string { return d.Time().Format("January 2, 2006") }

// several names some things, and how many more there are.
func several(names []string, between string) string {
	more := ""
	if n := len(names) - shown; n > 0 {
		more = fmt.Sprintf(" and %d more", n)
		names = names[:shown]
	}
	return strings.Join(names, between) + more
}
