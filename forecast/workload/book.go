// Package workload forecasts a shop's work: drop-offs and the labor hours they
// bring, by week and job kind, as joint futures.
//
// The shop's total is forecast first, by the model that did best on the shop's
// own history; each kind's share of it has its own season and wanders on its
// own; each job's hours are drawn from jobs of its kind that were finished. So
// kinds add up to the whole on every path, kinds that rise together do so here,
// and a week's hours have the long tail that jobs have.
//
// The package refuses to know more than was known: [Book.Known] cuts the
// records off at a day, and a job's hours count only once it was finished.
// Weeks after the last record are unobserved, not empty.
//
// To use it: make a Book of the job lines, take what was Known on a day, Fit a
// Model to it, and Simulate. [Backtest] does so for many days of the past. A new
// or tiny shop borrows the season, the roughness, the kinds' shares and the hours
// of others: [Pool] the Lessons of their Fits, and put that into its Book.
package workload

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// Job is one job line. Ready is 0 while the job is open; Hours is NaN if not
// known.
type Job struct {
	Kind       int // index into Book.Kinds
	DroppedOff forecast.Date
	Ready      forecast.Date
	Hours      float64
}

// Book is a shop's records with its calendar. Jobs stand in order of
// DroppedOff.
type Book struct {
	Kinds  []string
	Jobs   []Job
	Open   func(forecast.Date) float64 // share of a usual open day, by day; nil: Monday to Friday
	Events []Event
	// Siblings is what shops like this one have in common; nil where there are
	// none, or where it has records enough of its own.
	Siblings *Siblings
}

// Past is what was known when a day began.
type Past struct {
	AsOf   forecast.Date
	Until  forecast.Date // first day after the records
	Total  forecast.Series
	Kinds  []string
	ByKind [][]float64 // weekly counts by kind, on Total's steps
	Seen   []float64   // this week's counts so far, by kind
	Share  float64     // share of a usual week's drop-offs that was in by now
	Hours  [][]float64 // hours of finished jobs, by kind
	Closed bool        // nothing of this week is known: the records stop before it
	// NewLevel is the first day of weeks that are further off than chance
	// explains, 0 without any: from it on the level may be another one.
	NewLevel forecast.Date
	Siblings *Siblings
	open     func(forecast.Date) float64
	usual    float64 // usual open days a week
	events   []Event
	Warning  []error
}

// hoursBack is how far back a job's hours still count, and settled how long
// ago it must have been dropped off for long and short ones to be alike
// finished, where there are leastHours such jobs. From leastByDay drop-offs of
// whole weeks on they tell how a week's divide among its days; before that, open
// days do. The numbers are our own.
const (
	hoursBack  = 3 * 366
	settled    = 60
	leastHours = 30
	leastByDay = 50
)

func weekdays(d forecast.Date) float64 {
	if wd := d.Weekday(); wd == 0 || wd == 6 {
		return 0
	}
	return 1
}

// Known gives what was known when asOf began. Its Total holds the complete
// weeks, from the first whole one on record to the last before asOf's.
func (b *Book) Known(asOf forecast.Date) Past {
	p := Past{AsOf: asOf, Until: asOf, Kinds: b.Kinds, open: b.Open,
		ByKind: make([][]float64, len(b.Kinds)), Seen: make([]float64, len(b.Kinds)), Hours: make([][]float64, len(b.Kinds))}
	if p.open == nil {
		p.open = weekdays
	}
	if b.Siblings != nil && b.Siblings.AsOf <= asOf {
		p.Siblings = b.Siblings
	}
	for _, e := range b.Events {
		if e.Said <= asOf {
			p.events = append(p.events, e)
		}
	}
	p.usual = p.usualDays()
	p.Total = forecast.Series{Step: forecast.Week, Period: forecast.WeeksAYear, Start: asOf.Monday()}
	n, _ := slices.BinarySearchFunc(b.Jobs, asOf, func(j Job, d forecast.Date) int { return int(j.DroppedOff - d) })
	jobs := b.Jobs[:n]
	if n == 0 {
		return p
	}
	monday := asOf.Monday()
	start := jobs[0].DroppedOff.Monday()
	if jobs[0].DroppedOff > start+2 && monday > start+forecast.Week {
		start += forecast.Week // the first week is only partly on record
	}
	weeks := max(0, int(monday-start)/forecast.Week)
	p.Total.Start = start
	p.Total.Values = make([]float64, weeks)
	for k := range p.ByKind {
		p.ByKind[k] = make([]float64, weeks)
	}
	var byDay [7]float64
	recent := 0.0
	for _, j := range jobs {
		w := int(j.DroppedOff-start) / forecast.Week
		switch {
		case j.DroppedOff < start:
		case w < weeks:
			p.Total.Values[w]++
			p.ByKind[j.Kind][w]++
			if j.DroppedOff >= asOf-2*366 {
				byDay[(j.DroppedOff.Weekday()+6)%7]++
				recent++
			}
		default:
			p.Seen[j.Kind]++
		}
	}
	p.end(jobs[n-1].DroppedOff)
	for d := max(monday, jobs[0].DroppedOff); d < asOf; d++ { // what came before the records is not in
		if recent < leastByDay {
			p.Share += p.open(d) / p.usual
		} else {
			p.Share += byDay[d-monday] / recent
		}
	}
	p.collectHours(jobs)
	return p
}

// usualDays gives the open days of a week without holidays: the most that any
// of eight weeks around asOf has.
func (p *Past) usualDays() float64 {
	most := 0.0
	for w := range forecast.Date(8) {
		most = max(most, p.openDays(p.AsOf.Monday()+(w-4)*forecast.Week))
	}
	return max(most, 1)
}

func (p *Past) openDays(monday forecast.Date) float64 {
	sum := 0.0
	for d := monday; d < monday+forecast.Week; d++ {
		sum += p.open(d)
	}
	return sum
}

// exposure is the share of a usual week that the shop is open.
func (p *Past) exposure(monday forecast.Date, _ int) float64 { return p.openDays(monday) / p.usual }

// end decides where the records stop. If nothing has come for so long that at
// the usual rate it would happen once in a thousand times, were drop-offs twice
// as clumped as chance makes them, the silence is taken for records that were
// not handed in, and the weeks it touches are unobserved.
func (p *Past) end(last forecast.Date) {
	n := 0 // weeks until the records end
	for n < len(p.Total.Values) && p.Total.At(n) <= last {
		n++
	}
	from := max(0, n-104)
	sum := 0.0
	for _, v := range p.Total.Values[from:n] {
		sum += v
	}
	rate := sum / max(1, float64(n-from)) / p.usual // a usual open day
	silent := 0.0
	for d := last + 1; d < p.AsOf; d++ {
		silent += p.open(d)
	}
	if rate*silent < -math.Log(.001)*2 {
		return
	}
	p.Until = last + 1
	p.Closed = last < p.AsOf.Monday()
	for i := range p.Total.Values {
		if p.Total.At(i+1) > last+3 { // a week that lacks its weekend only is whole
			p.Total.Values[i] = math.NaN()
			for _, k := range p.ByKind {
				k[i] = math.NaN()
			}
		}
	}
	p.Warning = append(p.Warning, &RecordsStop{Last: last, AsOf: p.AsOf})
}

// longDay is how people write a day.
const longDay = "Monday, January 2, 2006"

// RecordsStop warns that the records end long before the day that was asked
// about.
type RecordsStop struct{ Last, AsOf forecast.Date }

func (e *RecordsStop) Error() string {
	return fmt.Sprintf("the records end on %s, long before %s: import newer ones", e.Last.Time().Format(longDay), e.AsOf.Time().Format(longDay))
}

func (p *Past) collectHours(jobs []Job) {
	for pass := range 2 {
		n := 0
		for _, j := range jobs {
			if j.Ready == 0 || j.Ready >= p.AsOf || math.IsNaN(j.Hours) || j.DroppedOff < p.AsOf-hoursBack {
				continue
			}
			if pass == 0 && j.DroppedOff >= p.AsOf-settled {
				continue
			}
			p.Hours[j.Kind] = append(p.Hours[j.Kind], j.Hours)
			n++
		}
		if n >= leastHours || pass == 1 {
			break
		}
		for k := range p.Hours {
			p.Hours[k] = p.Hours[k][:0]
		}
	}
	for k, h := range p.Hours {
		p.Hours[k] = withoutBlunders(h)
	}
}

// withoutBlunders drops hours beyond forty times the median: a typing error
// such as 10,000 hours. The rule is our own.
func withoutBlunders(h []float64) []float64 {
	if len(h) < 5 {
		return slices.DeleteFunc(h, func(v float64) bool { return v > 500 })
	}
	median := forecast.NewEmpirical(slices.Clone(h)).Quantile(.5)
	return slices.DeleteFunc(h, func(v float64) bool { return v > 40*max(median, .5) })
}
