package desk

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"

	"gonum.org/v1/gonum/stat"
)

// Inquiry is what a customer asks about.
type Inquiry struct {
	Kind      string  // or a word that was put into it
	Hours     float64 // quoted; 0: the kind's usual
	PartsDays float64 // from the day of the question until its part is there; below 0: not known, 0: in stock or none needed
	Emergency bool

	DropOff forecast.Date // day on which the rig comes; the zero Date: the day of the question
	Held    bool          // its place in line is kept from the day of the question on, though the rig comes later
	Hour    int           // of the shop's clock; 0: the day begins. Later, what is on record of the day counts, and what of its work is over doesn't
}

// Check reports what makes an inquiry unanswerable.
func (q Inquiry) Check() error {
	const mostHours, mostDays = 2000, 365
	switch {
	case !(q.Hours >= 0 && q.Hours <= mostHours):
		return fmt.Errorf("need hours from 0 to %d, have %v", mostHours, q.Hours)
	case !(q.PartsDays <= mostDays):
		return fmt.Errorf("need days for parts from 0 to %d, have %v", mostDays, q.PartsDays)
	}
	return nil
}

// Quote is when such a job would be ready, and why.
type Quote struct {
	Schema   int           `json:"schema"`
	AsOf     forecast.Date `json:"as_of"`
	Kind     string        `json:"kind"`
	Hours    float64       `json:"hours"` // quoted, or the kind's usual
	Ready    Ready         `json:"ready"`
	Because  []Because     `json:"because"`
	Say      string        `json:"say"`
	Warnings []string      `json:"warnings"`

	DropOff   forecast.Date `json:"drop_off"`           // day on which the rig comes
	HoursFrom string        `json:"hours_from"`         // what the usual hours are from; empty where they were quoted
	Why       []string      `json:"why"`                // sentences for the service writer
	BringIn   forecast.Date `json:"bring_in"`           // best day to bring it in, see [Quote.Best]
	LotSaved  int           `json:"lot_days_saved"`     // days on the lot that it saves
	Beyond    bool          `json:"beyond"`             // the 90 % date lies beyond what the quote looks ahead
	Kept80    *float64      `json:"kept80"`             // share of last year's quotes for 80 % that would have been kept, of all kinds
	Tried     int           `json:"tried"`              // of how many
	KeptKind  *float64      `json:"kept80_kind"`        // the same of this kind's; null where they are too few to tell
	TriedKind int           `json:"tried_kind"`         // of how many
	Cautions  []string      `json:"cautions,omitempty"` // to be read out or printed

	notes     int // of the warnings, those on the records, which come first
	partKnown bool
	opens     forecast.Date // first day on which somebody works
	later     bool          // there is a reason why a later day makes it ready later: its part is ordered once the rig is here
}

// Ready is the days by which it is ready with a chance of 50, 80 and 90 %.
type Ready struct {
	P50 forecast.Date `json:"p50"`
	P80 forecast.Date `json:"p80"`
	P90 forecast.Date `json:"p90"`
}

// Because is one part of the days from drop-off until the 80 % date.
type Because struct {
	What string  `json:"what"` // queue, labor, parts, closed days or growth
	Days float64 `json:"days"`
}

// Quote answers an inquiry. A Counter is made for it; who has one asks that.
func (d *Desk) Quote(ctx context.Context, ask Ask, q Inquiry) (Quote, error) {
	if err := q.Check(); err != nil {
		return Quote{}, err
	}
	c, err := d.Counter(ctx, ask)
	if err != nil {
		return Quote{}, err
	}
	return c.Quote(q)
}

// Kept gives the quote that an inquiry got as it is kept, but for when it was
// given and for the repair order.
func (q Quote) Kept(asked Inquiry) store.Quote {
	return store.Quote{AsOf: q.AsOf, DropOff: q.DropOff, Held: asked.Held && q.DropOff > q.AsOf, Kind: q.Kind, Emergency: asked.Emergency,
		Hours: sql.Null[float64]{V: asked.Hours, Valid: asked.Hours > 0}, PartsDays: sql.Null[float64]{V: asked.PartsDays, Valid: asked.PartsDays >= 0},
		P50: q.Ready.P50, P80: q.Ready.P80, P90: q.Ready.P90}
}

// Quote answers an inquiry. It returns an error if the kind isn't the shop's,
// if the rig comes before the day of the question or more than Bookable days
// after it, and if neither the inquiry nor any finished job has hours.
func (c *Counter) Quote(q Inquiry) (Quote, error) {
	if err := q.Check(); err != nil {
		return Quote{}, err
	}
	kind, err := c.kindOf(q.Kind)
	if err != nil {
		return Quote{}, err
	}
	if q.DropOff = cmp.Or(q.DropOff, c.asOf); q.DropOff < c.asOf || q.DropOff > c.asOf+Bookable {
		return Quote{}, fmt.Errorf("need a day of drop-off from %s to %s, have %s", report.DayFrom(c.asOf, c.asOf), report.DayFrom(c.asOf+Bookable, c.asOf), report.DayFrom(q.DropOff, c.asOf))
	}
	l, err := c.look(q, kind)
	if err != nil {
		return Quote{}, err
	}
	if q.Hours == 0 && len(l.habits.Hours[kind]) == 0 {
		return Quote{}, errors.New("need quoted hours, have none, and no finished job of two years has any on record to tell the usual ones")
	}
	p := l.dropped(int(q.DropOff-c.asOf), q.Held)
	out := Quote{Schema: 1, AsOf: c.asOf, Kind: c.kinds[kind], Hours: q.Hours, Ready: p.ready, Beyond: p.beyond, DropOff: q.DropOff, Warnings: slices.Clone(c.warnings)}
	if q.Hours == 0 {
		out.Hours = math.Round(10*stat.Mean(l.habits.Hours[kind], nil)) / 10
		out.HoursFrom = c.hoursFrom(kind)
	}
	out.Because = because(p.stays, int(q.DropOff-c.asOf), int(out.Ready.P80-c.asOf))
	out.BringIn = l.bringIn()
	out.LotSaved = int(out.BringIn - c.asOf)
	out.opens = l.calendar.NextOpen(c.asOf)
	out.partKnown = q.PartsDays >= 0
	out.later = !out.partKnown && l.habits.Needs[kind] > 0
	out.Why = l.why(out, q, p)
	c.record(&out, kind)
	out.notes = len(out.Warnings)
	out.doubt(c, q)
	out.Say = out.sentence(q)
	out.Cautions = append(out.Cautions, capacity.EstimateCaution)
	if capacity.SafetyCritical(out.Kind) {
		out.Cautions = append(out.Cautions, capacity.SafetyCaution)
	}
	return out, nil
}

// Notes gives the warnings on the records, Doubts those on this quote.
func (q Quote) Notes() []string { return q.Warnings[:q.notes] }

// Doubts gives the warnings on this quote, Notes those on the records.
func (q Quote) Doubts() []string { return q.Warnings[q.notes:] }

// doubt adds the warnings that go with this quote.
func (q *Quote) doubt(c *Counter, asked Inquiry) {
	if q.Tried < leastCohort {
		q.Warnings = append(q.Warnings, fmt.Sprintf("Only %s of the last year could be tried against such quotes: the dates aren't corrected by them.", report.Count(float64(q.Tried), "finished job")))
	}
	longest := 0.0
	for _, v := range c.visits {
		if v.ready != 0 {
			longest = max(longest, v.took(), v.quoted)
		}
	}
	if longest > 0 && asked.Hours > longest {
		q.Warnings = append(q.Warnings, fmt.Sprintf("%g h is more than any finished job of the past took (%.0f h). Are the hours right?", asked.Hours, longest))
	}
}

// Bookable is the days ahead that a rig may come.
const Bookable = 180

const (
	// A day's work goes on from one hour of the clock until another, and on half
	// days for half as long: common practice, no source.
	workFrom, workHours = 8, 9
)

// look is a question that is looked at: its floor, the jobs before it, and what
// of the past corrects it.
type look struct {
	c        *Counter
	calendar capacity.Calendar // what of today is left in it
	floor    *capacity.Floor
	habits   capacity.Habits
	open     []capacity.OpenJob
	q        capacity.Inquiry
	level    [3]float64
}

func (c *Counter) look(q Inquiry, kind int) (l look, err error) {
	l = look{c: c, calendar: c.left(q.Hour), habits: c.habitsOn(c.asOf), open: c.openOn(c.asOf),
		q: capacity.Inquiry{Kind: kind, Hours: q.Hours, PartsDays: q.PartsDays, Emergency: q.Emergency}, level: [...]float64{.5, .8, .9}}
	if q.Hour > 0 {
		l.open = c.openNow()
	}
	if q.PartsDays < 0 { // past quotes didn't know of parts: where this one does, their misses tell nothing of it
		for i, p := range l.level {
			l.level[i] = c.level(c.asOf, p)
		}
	}
	l.floor, err = capacity.NewFloor(c.crewOn(c.asOf), l.calendar, c.absences, namedKinds(c.kinds), c.asOf, floorDays)
	return l, err
}

// left is the calendar with what of the day of the question's work is left at an
// hour of the shop's clock.
func (c *Counter) left(hour int) capacity.Calendar {
	out := c.calendar
	if share := c.calendar.OpenShare(c.asOf); hour > workFrom && share > 0 {
		if out.Days = maps.Clone(out.Days); out.Days == nil {
			out.Days = map[forecast.Date]float64{}
		}
		out.Days[c.asOf] = share * max(0, 1-float64(hour-workFrom)/(workHours*min(1, share)))
	}
	return out
}

// possible is what may come of a rig that is dropped off on some day.
type possible struct {
	stays  []capacity.Stay
	days   []int // of the stays, from the day of the question
	ready  Ready
	beyond bool
}

// dropped follows the rig, dropped off so many days from now, through futures
// that are the same whatever the day.
func (l *look) dropped(in int, held bool) (p possible) {
	q := l.q
	q.DropOff, q.Held = in, held
	p.stays = l.habits.Stays(l.floor, l.open, q, quoteDraws, rand.New(rand.NewPCG(l.c.seed, uint64(l.c.asOf))))
	p.days = make([]int, len(p.stays))
	for i, s := range p.stays {
		p.days[i] = s.Days
	}
	p.ready.P50 = l.by(p, l.level[0])
	p.ready.P80 = max(p.ready.P50, l.by(p, l.level[1]))
	p.ready.P90 = max(p.ready.P80, l.by(p, l.level[2]))
	p.beyond = stayAt(p.days, l.level[2]) >= floorDays
	return p
}

// by gives the day by which a share of the futures are ready.
func (l *look) by(p possible, share float64) forecast.Date {
	return l.calendar.NextOpen(l.c.asOf + forecast.Date(stayAt(p.days, share)))
}

// bringIn gives the last open day on which the rig may come, its place in line
// kept from now on, so that it is ready by the same days with a chance of 5 and
// of 8 in 10 as if it came now. An emergency comes at once.
func (l *look) bringIn() forecast.Date {
	first := l.calendar.NextOpen(l.c.asOf)
	if l.q.Emergency {
		return first
	}
	now := l.dropped(0, false).ready
	var days []forecast.Date
	for d := first + 1; d <= min(now.P50, l.c.asOf+Bookable); d++ {
		if l.calendar.OpenShare(d) > 0 {
			days = append(days, d)
		}
	}
	// The later it comes, the later it is ready.
	if i, _ := slices.BinarySearchFunc(days, now, func(d forecast.Date, now Ready) int {
		if then := l.dropped(int(d-l.c.asOf), true).ready; then.P50 > now.P50 || then.P80 > now.P80 {
			return 1
		}
		return -1
	}); i > 0 {
		return days[i-1]
	}
	return first
}

// because says what the days from drop-off are made of, from the stays about as
// long as the one that is promised; all days count from the floor's first. What no
// part explains is the queue.
func because(stays []capacity.Stay, in, until int) []Because {
	const around = 15 // percent of the stays, to either side
	at, _ := slices.BinarySearchFunc(stays, until, func(s capacity.Stay, d int) int { return s.Days - d })
	n := len(stays)
	from, to := max(0, min(at, n-1)-n*around/100), min(n, at+n*around/100+1)
	var all, parts, labor, growth, closed float64
	for _, s := range stays[from:to] {
		all += float64(s.Days - in)
		parts += s.Parts
		labor += s.Labor
		growth += s.Growth
		closed += float64(s.Closed)
	}
	queue := max(0, all-parts-labor-growth-closed)
	whole := parts + labor + growth + closed + queue
	out := []Because{{"queue", queue}, {"labor", labor}, {"parts", parts}, {"closed days", closed}, {"growth", growth}}
	for i := range out {
		if whole > 0 {
			out[i].Days = math.Round(10*out[i].Days/whole*float64(until-in)) / 10
		}
	}
	return out
}

// record says how quotes of the last year would have turned out.
func (c *Counter) record(q *Quote, kind int) {
	kept, keptKind, level := 0., 0., c.level(c.asOf, .8)
	for i, v := range c.visits {
		t := c.trials[i]
		if t.days == nil || v.in < c.asOf-cohortFrom || v.in >= c.asOf-cohortUntil {
			continue
		}
		in := v.ready != 0 && t.pit <= level
		if q.Tried++; in {
			kept++
		}
		if v.kind == kind {
			if q.TriedKind++; in {
				keptKind++
			}
		}
	}
	if q.Tried > 0 {
		kept /= float64(q.Tried)
		q.Kept80 = &kept
	}
	if q.TriedKind >= tellsOfKind {
		keptKind /= float64(q.TriedKind)
		q.KeptKind = &keptKind
	}
}

// tellsOfKind is how many quotes of a kind tell something of that kind.
const tellsOfKind = 15
