package desk

import (
	"fmt"
	"math"
	"math/rand/v2"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
)

// Likely is when a job that is in the shop is likely to be ready.
type Likely struct {
	P50, P80 forecast.Date // the days by which it is with a chance of 5 and of 8 in 10
	Beyond   bool          // the second lies beyond what is looked ahead
	asOf     forecast.Date
}

// Say is a sentence for the customer, with what was promised where there is one.
func (l Likely) Say(promised forecast.Date) string {
	by := report.WeekDayFrom(l.P80, l.asOf)
	switch {
	case l.Beyond:
		return "We can't say yet when it will be ready."
	case promised == 0:
		return fmt.Sprintf("We expect to have it ready by %s; in 8 cases out of 10 it is.", by)
	case promised < l.asOf:
		return fmt.Sprintf("It isn't ready as we said it would be. We now expect it by %s; in 8 cases out of 10 it is.", by)
	case promised < l.P80:
		return fmt.Sprintf("It may not be ready on %s as we said. We now expect it by %s; in 8 cases out of 10 it is.", report.WeekDayFrom(promised, l.asOf), by)
	}
	return fmt.Sprintf("It is on its way: we still expect it by %s, as we said.", report.WeekDayFrom(promised, l.asOf))
}

const (
	likelyDraws = 200 // futures of the jobs in the shop
	likelyEvery = 14  // days from one past day on which such dates are tried to the next
)

// Likely gives, by the key of its job line, when each job in the shop is likely
// to be ready, asked at an hour of the shop's clock (0: before work). The dates
// are corrected by what such dates would have missed by on days of the past
// year, as those of quotes are; a part whose day is on record comes on that
// day. Jobs that are declined or put off have none.
func (c *Counter) Likely(hour int) (map[string]Likely, error) {
	c.likely.Lock()
	defer c.likely.Unlock()
	if out, ok := c.likely.by[hour]; ok {
		return out, nil
	}
	if c.likely.past == nil {
		var err error
		if c.likely.past, err = c.tryOpen(); err != nil {
			return nil, err
		}
	}
	calendar := c.left(hour)
	var keys []string
	var open []capacity.OpenJob
	for _, v := range c.now {
		if v.declined || v.ready != 0 {
			continue
		}
		j := v.open(c.asOf, true)
		if due := v.in + forecast.Date(math.Ceil(v.parts)); v.parts >= 0 && due >= c.asOf {
			j.Waiting, j.NotBefore = false, due
		}
		keys, open = append(keys, v.key), append(open, j)
	}
	floor, err := capacity.NewFloor(c.crewOn(c.asOf), calendar, c.absences, namedKinds(c.kinds), c.asOf, floorDays)
	if err != nil {
		return nil, err
	}
	p50, p80 := conformal(c.likely.past, .5), conformal(c.likely.past, .8)
	out := map[string]Likely{}
	for i, days := range c.habitsOn(c.asOf).Ready(floor, open, likelyDraws, rand.New(rand.NewPCG(c.seed, uint64(c.asOf)))) {
		at := func(level float64) forecast.Date {
			return calendar.NextOpen(c.asOf + forecast.Date(stayAt(days, level)))
		}
		l := Likely{P50: at(p50), asOf: c.asOf, Beyond: stayAt(days, p80) >= floorDays}
		l.P80 = max(l.P50, at(p80))
		out[keys[i]] = l
	}
	if c.likely.by == nil {
		c.likely.by = map[int]map[string]Likely{}
	}
	c.likely.by[hour] = out
	return out, nil
}

// tryOpen gives where, among their possible days, the jobs that were in the shop
// on days of the past year were ready: 1 for those that still aren't.
func (c *Counter) tryOpen() ([]float64, error) {
	var days []forecast.Date
	for d := (c.asOf - cohortFrom).Monday(); d < c.asOf-cohortUntil; d += likelyEvery {
		days = append(days, d)
	}
	at := make([][]float64, len(days))
	err := forecast.Together(len(days), func(i int) error {
		day := days[i]
		floor, err := capacity.NewFloor(c.crewOn(day), c.calendar, c.absences, namedKinds(c.kinds), day, floorDays)
		if err != nil {
			return nil // the crew of that day can't be used: it isn't tried
		}
		which := c.inShop(day)
		open := make([]capacity.OpenJob, len(which))
		for k, w := range which {
			open[k] = c.visits[w].open(day, false)
		}
		for k, ready := range c.habitsOn(day).Ready(floor, open, pastDraws, rand.New(rand.NewPCG(c.seed, uint64(day)))) {
			if v := c.visits[which[k]]; v.ready == 0 {
				at[i] = append(at[i], 1)
			} else {
				at[i] = append(at[i], place(ready, int(v.ready-day)))
			}
		}
		return nil
	})
	all := []float64{}
	for _, a := range at {
		all = append(all, a...)
	}
	return all, err
}
