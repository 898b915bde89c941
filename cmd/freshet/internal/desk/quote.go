package desk

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
)

// Inquiry is what a customer asks about: a job dropped off on the day of the
// question.
type Inquiry struct {
	Kind      string
	Hours     float64 // quoted; 0: the kind's usual
	PartsDays float64 // until its part is there; below 0: not known, 0: in stock or none needed
	Emergency bool
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

	BringIn  *forecast.Date `json:"bring_in"`           // first day on which somebody would likely work on it, if it is later than the day after tomorrow
	Beyond   bool           `json:"beyond"`             // the 90 % date lies beyond what the quote looks ahead
	Kept80   *float64       `json:"kept80"`             // share of last year's quotes for 80 % that would have been kept
	Tried    int            `json:"tried"`              // of how many
	Cautions []string       `json:"cautions,omitempty"` // to be read out or printed
}

// Ready is the days by which it is ready with a chance of 50, 80 and 90 %.
type Ready struct {
	P50 forecast.Date `json:"p50"`
	P80 forecast.Date `json:"p80"`
	P90 forecast.Date `json:"p90"`
}

// Because is one part of the days until the 80 % date.
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

// Quote answers an inquiry. It returns an error if the kind isn't the shop's.
func (c *Counter) Quote(q Inquiry) (Quote, error) {
	if err := q.Check(); err != nil {
		return Quote{}, err
	}
	kind, err := c.kindOf(q.Kind)
	if err != nil {
		return Quote{}, err
	}
	stays, err := c.stays(c.asOf, capacity.Inquiry{Kind: kind, Hours: q.Hours, PartsDays: q.PartsDays, Emergency: q.Emergency}, quoteDraws)
	if err != nil {
		return Quote{}, err
	}
	days := make([]int, len(stays))
	for i, s := range stays {
		days[i] = s.Days
	}
	out := Quote{Schema: 1, AsOf: c.asOf, Kind: c.kinds[kind], Hours: q.Hours, Warnings: slices.Clone(c.warnings)}
	if q.Hours == 0 {
		sum, h := 0.0, c.habitsOn(c.asOf).Hours[kind]
		for _, v := range h {
			sum += v / float64(len(h))
		}
		out.Hours = math.Round(10*sum) / 10
	}
	level := func(p float64) float64 {
		if q.PartsDays >= 0 {
			return p // past quotes didn't know of parts: their misses tell nothing of this one
		}
		return c.level(c.asOf, p)
	}
	date := func(p float64) forecast.Date {
		return c.calendar.NextOpen(c.asOf + forecast.Date(stayAt(days, level(p))))
	}
	out.Ready = Ready{date(.5), date(.8), date(.9)}
	out.Ready.P80 = max(out.Ready.P80, out.Ready.P50)
	out.Ready.P90 = max(out.Ready.P90, out.Ready.P80)
	out.Beyond = stayAt(days, level(.9)) >= floorDays
	out.Because = because(stays, int(out.Ready.P80-c.asOf))
	if start := c.calendar.NextOpen(c.asOf + forecast.Date(startAt(stays, .2))); start > c.asOf+2 && !q.Emergency {
		out.BringIn = &start
	}
	out.Tried, out.Kept80 = c.kept()
	if out.Tried < leastCohort {
		out.Warnings = append(out.Warnings, fmt.Sprintf("Only %d finished jobs of the last year could be tried against such quotes: the dates aren't corrected by them.", out.Tried))
	}
	out.Say = out.sentence()
	out.Cautions = append(out.Cautions, capacity.EstimateCaution)
	if capacity.SafetyCritical(out.Kind) {
		out.Cautions = append(out.Cautions, capacity.SafetyCaution)
	}
	return out, nil
}

// because says what the days are made of, from the stays about as long as the
// one that is promised. What no part explains is the queue.
func because(stays []capacity.Stay, days int) []Because {
	const around = 15 // percent of the stays, to either side
	at, _ := slices.BinarySearchFunc(stays, days, func(s capacity.Stay, d int) int { return s.Days - d })
	n := len(stays)
	from, until := max(0, min(at, n-1)-n*around/100), min(n, at+n*around/100+1)
	var all, parts, labor, growth, closed float64
	for _, s := range stays[from:until] {
		all += float64(s.Days)
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
			out[i].Days = math.Round(10*out[i].Days/whole*float64(days)) / 10
		}
	}
	return out
}

// startAt gives the first day of work that a share of the stays begin by.
func startAt(stays []capacity.Stay, share float64) int {
	days := make([]int, len(stays))
	for i, s := range stays {
		days[i] = s.Start
	}
	slices.Sort(days)
	return stayAt(days, share)
}

// kept gives how many quotes of the last year were tried, and the share that
// the 80 % dates would have kept.
func (c *Counter) kept() (tried int, share *float64) {
	kept, level := 0, c.level(c.asOf, .8)
	for i, v := range c.visits {
		t := c.trials[i]
		if t.days == nil || v.in < c.asOf-cohortFrom || v.in >= c.asOf-cohortUntil {
			continue
		}
		tried++
		if v.ready != 0 && t.pit <= level {
			kept++
		}
	}
	if tried == 0 {
		return 0, nil
	}
	s := float64(kept) / float64(tried)
	return tried, &s
}

// sentence is what the service writer can read out.
func (q Quote) sentence() string {
	day := report.WeekDay
	why := ""
	reasons := slices.Clone(q.Because)
	slices.SortStableFunc(reasons, func(a, b Because) int {
		switch {
		case a.Days > b.Days:
			return -1
		case a.Days < b.Days:
			return 1
		}
		return 0
	})
	words := map[string]string{"queue": "jobs that are ahead of yours", "labor": "the work itself", "parts": "parts that may have to be ordered", "closed days": "days on which we are closed", "growth": "work that often turns up once a job is opened"}
	var most []string
	for _, r := range reasons {
		if r.Days >= 1 && len(most) < 2 {
			most = append(most, words[r.What])
		}
	}
	if len(most) > 0 {
		why = " Most of that time is for " + strings.Join(most, " and ") + "."
	}
	s := fmt.Sprintf("We expect to have it ready by %s; in 8 cases out of 10 it is.%s", day(q.Ready.P80), why)
	if q.Ready.P50 == q.AsOf && q.Ready.P80 > q.AsOf {
		s += " It may even be ready today."
	} else if q.Ready.P50 < q.Ready.P80 {
		s += fmt.Sprintf(" It may well be ready by %s.", day(q.Ready.P50))
	}
	if q.BringIn != nil {
		s += fmt.Sprintf(" You can keep it at home until %s without losing time, unless a part has to be found out about first.", day(*q.BringIn))
	}
	return s
}
