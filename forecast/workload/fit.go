package workload

import (
	"errors"
	"fmt"
	"math"

	"freshet/forecast"
	"freshet/forecast/counts"
)

// Model is the recipe for a shop's forecast.
type Model struct {
	// Total makes the model of the shop's weekly total from what is known of
	// the past; nil stands for Shifting.
	Total func(Past) forecast.Model
}

// Fit is a shop's forecast, ready to be simulated.
type Fit struct {
	past  Past
	total forecast.Fit
	name  string
	kinds []kindFit
	pool  []float64 // hours of all kinds
	warn  []error
}

// kindFit gives the weight of one kind within the total.
type kindFit struct {
	fit   *counts.Fit // nil: a constant share
	share float64     // where fit is nil: the posterior mean of its count weight
	jobs  float64     // of the last three years
	size  float64
	hours []float64
	like  []float64 // hours of jobs like them
	own   float64   // chance to draw a job's hours from its own kind, not from those like them
	rough float64   // standard deviation of the log of what is known of their mean
}

// Limits of what gets a fit of its own: kinds with so many jobs, and so many
// kinds. Others keep a constant share.
const (
	leastJobs = 60
	mostFits  = 24
	poolJobs  = 15 // how many jobs of its own outweigh the shop's
)

// Counts is the count model with what is known of the calendar: closed days
// and events.
func Counts(p Past) forecast.Model {
	m := counts.Model{Usual: p.Siblings.usual(), Columns: []counts.Column{{
		// A closed day's drop-offs partly come on other days of the week: how
		// large a part is learned. -1 would be none, 0 all of them.
		Name: "closed days", Spread: .5,
		At: func(monday forecast.Date, step int) float64 {
			return math.Log(max(.2, min(1.2, p.exposure(monday, step))))
		},
	}}}
	m.Columns = append(m.Columns, p.eventColumns()...)
	if p.NewLevel != 0 {
		m.Columns = append(m.Columns, counts.Column{Name: "new level", Spread: newLevelSpread, At: p.newLevel})
	}
	return m
}

// How one year differs from another, as standard deviations: by how many days its
// season comes early or late, common practice, no source; by how much it is busier
// or quieter, and by how much a shop grows or shrinks from year to year, both as
// logarithms and our own. Growth is so little that a few years' ups and downs can't
// bend it, and enough that not all of them weigh alike on the level of today.
const (
	seasonsApart = 8
	yearsApart   = .05
	growth       = .01
)

// Shifting is Counts with years that differ: seasons that come early or late, busy
// and quiet years, and slow growth.
func Shifting(p Past) forecast.Model {
	m := Counts(p).(counts.Model)
	m.Shift, m.Year = seasonsApart, yearsApart
	m.Columns = append(m.Columns, counts.Column{Name: "growth", Spread: growth, At: func(monday forecast.Date, _ int) float64 {
		return float64(monday-p.AsOf.Monday()) / 365.25
	}})
	return m
}

// What a new level may be, as the standard deviation of its logarithm, and the
// share of it that is left a week later, as most don't last: measured on
// invented shops with levels that last and with bursts (TestNewLevel).
const (
	newLevelSpread = .1
	newLevelLasts  = .9
)

// newLevel gives the share of a new level that a week has: all of it since it
// began, and less and less of it in weeks to come. The level that wanders
// learns of it too, but slowly; this lets a forecast follow at once.
func (p Past) newLevel(monday forecast.Date, step int) float64 {
	switch now := p.AsOf.Monday(); {
	case monday < p.NewLevel.Monday():
		return 0
	case monday < now:
		return 1
	default:
		return math.Pow(newLevelLasts, 1+float64(monday-now)/float64(step))
	}
}

// ErrNoRecords says that nothing was on record on the day asked about.
var ErrNoRecords = errors.New("forecast: need drop-offs on record before that day, have none: import a file, or ask about a later day")

// Fit estimates the shop's forecast from what was known.
func (m Model) Fit(p Past) (*Fit, error) {
	seen := 0.0
	for _, v := range p.Seen {
		seen += v
	}
	if p.Total.Observed() == 0 && seen == 0 {
		return nil, ErrNoRecords
	}
	recipe := m.Total
	if recipe == nil {
		recipe = Shifting
	}
	model, past := recipe(p), p.Total.Like(p.Lasting(p.Total.Values))
	f := &Fit{past: p, name: model.String(), warn: p.Warning}
	var err error
	if f.total, err = model.Fit(past); err != nil {
		// Too short for the model: the week in hand and the few before it.
		f.total, err = fewWeeks(p, seen)
		if err != nil {
			return nil, err
		}
		f.name = "what the first weeks show"
		f.warn = append(f.warn, fmt.Errorf("need 3 whole weeks of records to forecast, have %d: the range is a rough guess", past.Observed()))
	}
	f.fitKinds()
	return f, nil
}

// fewWeeks is a forecast from one or two weeks, or from the week that has begun:
// a count model of the weeks as they are, with three before them that were like
// their mean.
func fewWeeks(p Past, seen float64) (forecast.Fit, error) {
	mean, n := 0.0, 0.0
	for _, v := range p.Total.Values {
		if !math.IsNaN(v) {
			mean += v
			n++
		}
	}
	if n == 0 {
		mean, n = seen/max(.2, p.Share), 1
	}
	mean = math.Round(mean / n)
	s := p.Total
	s.Start -= 3 * forecast.Week
	s.Values = append([]float64{mean, mean, mean}, s.Values...)
	return counts.Model{Harmonics: -1}.Fit(s)
}

// fitKinds estimates each kind's weight within the total: a count model whose
// known part is the total's own fitted mean, so that what is left to learn is
// how the kind's season and level depart from the shop's.
func (f *Fit) fitKinds() {
	p := f.past
	f.kinds = make([]kindFit, len(p.Kinds))
	whole := f.total.Fitted()
	sum := 0.0
	totals := make([]float64, len(p.Kinds))
	for k := range p.Kinds {
		for t, v := range p.ByKind[k] {
			if !math.IsNaN(v) && t >= len(p.ByKind[k])-156 {
				totals[k] += v
			}
		}
		totals[k] += p.Seen[k]
		sum += totals[k]
		f.pool = append(f.pool, p.Hours[k]...)
	}
	offset := func(monday forecast.Date, _ int) float64 {
		i := int(monday-p.Total.Start) / forecast.Week
		if i < 0 || i >= len(whole) || !(whole[i] > 0) {
			return 0
		}
		return math.Log(whole[i])
	}
	var fitted []int
	before := p.Siblings.shares(p.Kinds)
	given := 0.0
	for _, v := range before {
		given += v
	}
	for k := range f.kinds {
		kf := &f.kinds[k]
		// A share's posterior mean under a prior worth so many jobs a kind.
		kf.share = (totals[k] + before[k]) / (sum + given)
		kf.jobs = totals[k]
		kf.size = math.Inf(1)
		kf.setHours(p.Hours[k])
		usual, _ := p.Siblings.kind(p.Kinds[k])
		if few := totals[k] < leastJobs || p.Total.Observed() < leastSeason; few && usual.Season == nil || len(fitted) == mostFits {
			continue
		}
		fitted = append(fitted, k)
	}
	forecast.Together(len(fitted), func(i int) error {
		k := fitted[i]
		usual, _ := p.Siblings.kind(p.Kinds[k])
		m := counts.Model{Harmonics: kindSeason, Offset: offset, Usual: usual.Season}
		if fit, err := m.Fit(p.Total.Like(p.Lasting(p.ByKind[k]))); err == nil { // else its share stays constant
			f.kinds[k].fit = fit.(*counts.Fit)
			f.kinds[k].size = f.kinds[k].fit.Size()
		}
		return nil
	})
	if len(f.pool) == 0 {
		f.pool = p.Siblings.hours(p.Kinds)
	}
	times := f.longer()
	for k := range f.kinds {
		f.lean(k, times)
	}
}

// leastSeason is the history below which kinds keep constant shares.
const leastSeason = 26

func (k *kindFit) setHours(h []float64) {
	k.hours = h
	n := float64(len(h))
	k.own = n / (n + poolJobs)
	mean, sq := 0.0, 0.0
	for _, v := range h {
		mean += v / n
	}
	for _, v := range h {
		sq += (v - mean) * (v - mean) / n
	}
	k.rough = .5
	if n > 3 && mean > 0 {
		k.rough = min(.5, math.Sqrt(sq/n)/mean)
	}
}
