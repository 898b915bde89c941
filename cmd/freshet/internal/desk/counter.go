package desk

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/ingest/store"
)

// Counter answers quotes: it holds the shop's jobs, what they tell of stays,
// and how quotes of the past would have turned out. Making one takes a second;
// an answer then takes some milliseconds. A Counter may be shared.
type Counter struct {
	asOf     forecast.Date
	seed     uint64
	kinds    []string
	words    map[string]int // kinds by the words that were put into them, folded
	visits   []visit        // in order of drop-off
	trials   []trial        // of the same visits, apart from them: they are made while visits are read
	now      []visit        // the last year's by what is on record now, of the day of the question too
	calendar capacity.Calendar
	crew     capacity.Crew
	absences []capacity.Absence
	policy   capacity.Policy
	warnings []string

	mu     sync.Mutex
	habits map[forecast.Date]capacity.Habits // by Monday

	likely struct {
		sync.Mutex
		past []float64                 // of the jobs that were in the shop, see tryOpen
		by   map[int]map[string]Likely // by the hour of the question
	}
}

// trial is a visit quoted again by what was known on its day.
type trial struct {
	days []int   // possible stays, rising; nil if it wasn't tried
	pit  float64 // share of them that the true stay lies at; of no meaning while it is open
}

const (
	quoteDraws   = 400                                              // futures of a quote
	pastDraws    = 100                                              // futures of a quote of the past
	floorDays    = 300                                              // that a quote looks ahead
	habitDays    = 730                                              // of finished jobs that habits are learned from
	visitDays    = habitDays + openTooLong + cohortFrom + habitDays // that visits are read of
	rateDays     = 56                                               // of drop-offs that the rate of late comes from
	fewOfAKind   = 20                                               // jobs below which a kind borrows from all
	cohortFrom   = 400                                              // days before a quote from which on past ones correct it
	cohortUntil  = 45                                               // and until when: of later ones only short stays are known
	leastCohort  = 30
	pastAYear    = 300 // quotes of a year that are tried again
	openTooLong  = forgotten
	seldomClosed = 5 // of older jobs, one in so many is closed at least
)

// ErrNoStays says that the records don't tell when jobs were ready.
var ErrNoStays = errors.New("need the days on which jobs were ready to quote one, have hardly any: import a file with a ready column")

// Counter makes what quotes are answered from, with n past quotes a year tried
// again (0: the usual number, enough to correct those to come).
func (d *Desk) Counter(ctx context.Context, ask Ask) (*Counter, error) {
	c, err := d.counter(ctx, ask)
	if err != nil {
		return nil, err
	}
	return c, c.try(ctx, c.sample(ask.AsOf-cohortFrom, ask.AsOf-cohortUntil, pastAYear))
}

func (d *Desk) counter(ctx context.Context, ask Ask) (*Counter, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return nil, err
	}
	if len(s.crew) == 0 {
		return nil, ErrNoCrew
	}
	c := &Counter{asOf: ask.AsOf, seed: ask.Seed, kinds: s.book.Kinds, calendar: s.calendar, crew: s.crew, absences: s.absences, policy: s.policy,
		warnings: s.recordWarnings(), habits: map[forecast.Date]capacity.Habits{}}
	closed := false
	if c.visits, closed, err = s.readVisits(ctx, d.Store); err != nil {
		return nil, err
	}
	c.trials = make([]trial, len(c.visits))
	if !closed {
		return nil, ErrNoStays
	}
	if c.now, err = s.visitsNow(ctx, d.Store); err != nil {
		return nil, err
	}
	c.words, err = kindWords(ctx, d.Store, c.kinds)
	return c, err
}

// sample gives the visits of some days, thinned to so many a year.
func (c *Counter) sample(from, until forecast.Date, aYear int) []int {
	var all []int
	for i, v := range c.visits {
		if from <= v.in && v.in < until {
			all = append(all, i)
		}
	}
	most := int(float64(aYear) * float64(until-from) / 365)
	if len(all) <= most {
		return all
	}
	out := make([]int, most)
	for i := range out {
		out[i] = all[i*len(all)/most]
	}
	return out
}

// try quotes visits of the past by what was known on their days.
func (c *Counter) try(ctx context.Context, which []int) error {
	return forecast.Together(len(which), func(i int) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		c.tryOne(which[i])
		return nil
	})
}

func (c *Counter) tryOne(i int) {
	v, t := c.visits[i], &c.trials[i]
	q := capacity.Inquiry{Kind: v.kind, Hours: v.quoted, PartsDays: -1, Emergency: v.emergency, Deferrable: v.deferrable}
	stays, err := c.stays(v.in, q, pastDraws)
	if err != nil {
		return // the crew of that day can't be used: the quote isn't tried
	}
	t.days = make([]int, len(stays))
	for k, s := range stays {
		t.days[k] = s.Days
	}
	if v.ready != 0 {
		t.pit = place(t.days, int(v.ready-v.in))
	}
}

// place gives the share of rising stays that lie below one, half of equal ones
// counted.
func place(days []int, stay int) float64 {
	below, _ := slices.BinarySearch(days, stay)
	upTo, _ := slices.BinarySearch(days, stay+1)
	return float64(below+upTo) / 2 / float64(len(days))
}

// stays gives the possible stays of an inquiry dropped off on a day, by what
// was known before it.
func (c *Counter) stays(day forecast.Date, q capacity.Inquiry, n int) ([]capacity.Stay, error) {
	f, err := capacity.NewFloor(c.crewOn(day), c.calendar, c.absences, namedKinds(c.kinds), day, floorDays)
	if err != nil {
		return nil, err
	}
	return c.habitsOn(day).Stays(f, c.openOn(day), q, n, rand.New(rand.NewPCG(c.seed, uint64(day)))), nil
}

// namedKinds gives the kinds for the floor, where a job whose kind isn't said
// may be done by anybody.
func namedKinds(kinds []string) []string {
	out := slices.Clone(kinds)
	for i, k := range out {
		if k == noKind {
			out[i] = ""
		}
	}
	return out
}

// crewOn is the crew as it was on a day: those who came later aren't in it,
// and nobody who was there leaves.
func (c *Counter) crewOn(day forecast.Date) capacity.Crew {
	if day == c.asOf {
		return c.crew
	}
	var out capacity.Crew
	for _, t := range c.crew {
		if t.From <= day && (t.Until == 0 || t.Until >= day) {
			out = append(out, t)
		}
	}
	return out
}

// openOn gives the jobs that were in the shop on a day.
func (c *Counter) openOn(day forecast.Date) []capacity.OpenJob {
	var out []capacity.OpenJob
	for _, i := range c.inShop(day) {
		out = append(out, c.visits[i].open(day, day == c.asOf))
	}
	return out
}

// inShop gives the numbers of the visits that were in the shop on a day.
func (c *Counter) inShop(day forecast.Date) (out []int) {
	from, _ := slices.BinarySearchFunc(c.visits, day-openTooLong, func(v visit, d forecast.Date) int { return int(v.in - d) })
	for i, v := range c.visits[from:] {
		if v.in >= day {
			break
		}
		if v.declined || v.ready != 0 && v.ready < day {
			continue
		}
		out = append(out, from+i)
	}
	return out
}

// habitsOn gives what finished jobs told on the Monday of a day's week.
func (c *Counter) habitsOn(day forecast.Date) capacity.Habits {
	day = day.Monday()
	c.mu.Lock()
	defer c.mu.Unlock()
	if h, ok := c.habits[day]; ok {
		return h
	}
	h := learnHabits(c.visits, len(c.kinds), day)
	c.habits[day] = h
	return h
}

// level gives the share of the simulated stays that a quote made on a day has
// to cover so that the share p of them is kept: the conformal quantile of
// where the true stays lay in those of the year before (Chernozhukov,
// Wüthrich and Zhu 2021, Proceedings of the National Academy of Sciences 118,
// on distributional conformal prediction). Jobs still open lie beyond all.
func (c *Counter) level(day forecast.Date, p float64) float64 {
	var at []float64
	from, _ := slices.BinarySearchFunc(c.visits, day-cohortFrom, func(v visit, d forecast.Date) int { return int(v.in - d) })
	for i, v := range c.visits[from:] {
		if v.in >= day-cohortUntil {
			break
		}
		switch t := c.trials[from+i]; {
		case t.days == nil:
		case v.ready == 0 || v.ready >= day:
			at = append(at, 1)
		default:
			at = append(at, t.pit)
		}
	}
	return conformal(at, p)
}

// conformal gives the share of the simulated days that has to be covered so
// that the share p of the true ones is, by where those lay before.
func conformal(at []float64, p float64) float64 {
	if len(at) < leastCohort {
		return p
	}
	at = slices.Sorted(slices.Values(at))
	return at[min(len(at), int(math.Ceil(float64(len(at)+1)*p)))-1]
}

// stayAt gives the stay that covers a share of rising ones.
func stayAt(days []int, level float64) int {
	return days[max(0, min(len(days)-1, int(math.Ceil(level*float64(len(days))))-1))]
}

// kindWords gives the kinds by the words that were put into them.
func kindWords(ctx context.Context, db *store.Store, kinds []string) (map[string]int, error) {
	groups, err := db.Kinds(ctx)
	if err != nil {
		return nil, err
	}
	out := map[string]int{}
	for _, g := range groups {
		if i := slices.Index(kinds, g.Name); i >= 0 {
			for _, w := range g.Words {
				out[folded(w.Word)] = i
			}
		}
	}
	return out, nil
}

// folded is a name in small letters, its words one space apart.
func folded(name string) string { return strings.ToLower(strings.Join(strings.Fields(name), " ")) }

// kindOf finds a job kind by its name, or by a word that was put into it,
// whatever its capitals.
func (c *Counter) kindOf(name string) (int, error) {
	for i, k := range c.kinds {
		if folded(k) == folded(name) {
			return i, nil
		}
	}
	if i, ok := c.words[folded(name)]; ok && folded(name) != "" {
		return i, nil
	}
	return 0, fmt.Errorf("need one of the shop's job kinds (%s), have %q", strings.Join(c.kinds, ", "), name)
}

// Kinds gives the names of the shop's job kinds.
func (c *Counter) Kinds() []string { return slices.Clone(c.kinds) }
