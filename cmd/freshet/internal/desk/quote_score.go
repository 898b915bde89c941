package desk

import (
	"context"
	"math"
	"slices"

	"freshet/forecast"

	"gonum.org/v1/gonum/stat"
)

// ScoreQuotes is how quotes for the finished jobs of the last two years would
// have turned out, each made by what was known on its day.
type ScoreQuotes struct {
	N          int         `json:"n"`
	Kept50     float64     `json:"kept50"`
	Kept80     float64     `json:"kept80"`
	Kept90     float64     `json:"kept90"`
	MeanDays80 float64     `json:"mean_days80"`
	Pinball80  float64     `json:"pinball80"` // mean quantile loss of the 80 % date, in days
	Rules      []ScoreRule `json:"rules"`
}

// ScoreRule is a simple rule on the same jobs: as it is, and moved by as many
// days as make it keep what the quotes keep.
type ScoreRule struct {
	Rule       string  `json:"rule"`
	Kept80     float64 `json:"kept80"`
	MeanDays80 float64 `json:"mean_days80"`
	EqualDays  float64 `json:"equal_days"` // mean days promised at the quotes' kept rate
	Pinball80  float64 `json:"pinball80"`
}

// QuoteRow is one finished job with its quote.
type QuoteRow struct {
	RO         string        `json:"ro"`
	Kind       string        `json:"kind"`
	DroppedOff forecast.Date `json:"dropped_off"`
	P50        forecast.Date `json:"p50"`
	P80        forecast.Date `json:"p80"`
	P90        forecast.Date `json:"p90"`
	Ready      forecast.Date `json:"ready"`

	week, lastYear, sheet float64 // days that the simple rules promise; NaN where one can't say
}

// scored is how far back quotes are scored.
const scored = 730

// QuoteRows quotes every finished job of the last two years as of its day.
func (d *Desk) QuoteRows(ctx context.Context, ask Ask) ([]QuoteRow, error) {
	c, err := d.counter(ctx, ask)
	if err != nil {
		return nil, err
	}
	// The quotes scored, all of them, and enough before to correct the first.
	which := append(c.sample(ask.AsOf-scored-cohortFrom, ask.AsOf-scored, pastAYear), c.sample(ask.AsOf-scored, ask.AsOf, math.MaxInt32/4)...)
	if err := c.try(ctx, which); err != nil {
		return nil, err
	}
	return c.rows(ask.AsOf - scored), nil
}

func (c *Counter) rows(from forecast.Date) []QuoteRow {
	levels := map[forecast.Date][3]float64{}
	rules := c.simple(from)
	var out []QuoteRow
	for i, v := range c.visits {
		days := c.trials[i].days
		if days == nil || v.ready == 0 || v.in < from {
			continue
		}
		l, ok := levels[v.in]
		if !ok {
			l = [3]float64{c.level(v.in, .5), c.level(v.in, .8), c.level(v.in, .9)}
			levels[v.in] = l
		}
		r := QuoteRow{RO: v.ro, Kind: c.kinds[v.kind], DroppedOff: v.in, Ready: v.ready}
		for k, into := range []*forecast.Date{&r.P50, &r.P80, &r.P90} {
			*into = c.calendar.NextOpen(v.in + forecast.Date(stayAt(days, l[k])))
		}
		r.P80 = max(r.P80, r.P50)
		r.P90 = max(r.P90, r.P80)
		r.week, r.lastYear, r.sheet = 7, rules.lastYear(v.in), rules.sheet(i)
		out = append(out, r)
	}
	return out
}

// scoreQuotes sums rows up; nil if there are none.
func scoreQuotes(rows []QuoteRow) *ScoreQuotes {
	if len(rows) == 0 {
		return nil
	}
	s := &ScoreQuotes{N: len(rows)}
	n := float64(len(rows))
	for _, r := range rows {
		for _, k := range []struct {
			by   forecast.Date
			into *float64
		}{{r.P50, &s.Kept50}, {r.P80, &s.Kept80}, {r.P90, &s.Kept90}} {
			if r.Ready <= k.by {
				*k.into += 1 / n
			}
		}
		s.MeanDays80 += float64(r.P80-r.DroppedOff) / n
		s.Pinball80 += forecast.Pinball(float64(r.Ready-r.DroppedOff), float64(r.P80-r.DroppedOff), .8) / n
	}
	for _, rule := range []struct {
		name string
		days func(QuoteRow) float64
	}{
		{"a fixed week", func(r QuoteRow) float64 { return r.week }},
		{"80 % quantile of the last year's stays", func(r QuoteRow) float64 { return r.lastYear }},
		{"hours ahead over the crew's hours, and what that missed by", func(r QuoteRow) float64 { return r.sheet }},
	} {
		if r, says := scoreRule(rule.name, rows, rule.days, s.Kept80); says {
			s.Rules = append(s.Rules, r)
		}
	}
	return s
}

// scoreRule holds a rule against the jobs for which it says something; false if
// there are none.
func scoreRule(name string, rows []QuoteRow, days func(QuoteRow) float64, kept float64) (out ScoreRule, says bool) {
	out = ScoreRule{Rule: name}
	var late []float64 // days by which it was missed, below 0 where it was kept
	n := 0.0
	for _, r := range rows {
		promised := math.Ceil(days(r))
		if math.IsNaN(promised) {
			continue
		}
		n++
		stay := float64(r.Ready - r.DroppedOff)
		late = append(late, stay-promised)
		if stay <= promised {
			out.Kept80++
		}
		out.MeanDays80 += promised
		out.Pinball80 += forecast.Pinball(stay, promised, .8)
	}
	if n == 0 {
		return out, false
	}
	out.Kept80 /= n
	out.MeanDays80 /= n
	out.Pinball80 /= n
	slices.Sort(late)
	out.EqualDays = out.MeanDays80 + late[max(0, min(len(late)-1, int(math.Ceil(kept*n))-1))]
	return out, true
}

// simple is the rules that quotes are set against, each by what was known on
// the day.
type simple struct {
	c             *Counter
	raw           []float64 // by visit: hours of accepted work ahead over the crew's hours a day, in calendar days
	since         forecast.Date
	stays, misses map[forecast.Date]float64 // 80 % quantiles by day
}

func (c *Counter) simple(from forecast.Date) simple {
	r := simple{c: c, stays: map[forecast.Date]float64{}, misses: map[forecast.Date]float64{}, raw: make([]float64, len(c.visits)), since: from - cohortFrom}
	ahead := map[forecast.Date]float64{}
	for i, v := range c.visits {
		r.raw[i] = math.NaN()
		if v.in < r.since {
			continue
		}
		h := c.habitsOn(v.in)
		hours := func(kind int, quoted float64) float64 {
			if quoted > 0 {
				return quoted
			}
			return stat.Mean(h.Hours[kind], nil)
		}
		if _, ok := ahead[v.in]; !ok {
			sum := 0.0
			for _, j := range c.openOn(v.in) {
				sum += hours(j.Kind, j.Quoted)
			}
			ahead[v.in] = sum
		}
		daily := 0.0
		for _, w := range c.crewOn(v.in).Hours(c.calendar, nil, v.in.Monday(), 1) {
			daily += w.Available / c.calendar.UsualDays()
		}
		if days := (ahead[v.in] + hours(v.kind, v.quoted)) / daily; daily > 0 && !math.IsNaN(days) { // NaN: no hours were on record
			r.raw[i] = float64(c.calendar.AddOpenDays(v.in, days) - v.in)
		}
	}
	return r
}

// lastYear is the 80 % quantile of the stays that ended in the year before.
func (r simple) lastYear(day forecast.Date) float64 {
	return r.quantile(r.stays, day, func(i int) float64 { return float64(r.c.visits[i].ready - r.c.visits[i].in) })
}

// sheet is the careful spreadsheet: its raw answer and the 80 % quantile of
// what that missed by in the year before.
func (r simple) sheet(i int) float64 {
	return r.raw[i] + r.quantile(r.misses, r.c.visits[i].in, func(k int) float64 { return float64(r.c.visits[k].ready-r.c.visits[k].in) - r.raw[k] })
}

func (r simple) quantile(known map[forecast.Date]float64, day forecast.Date, of func(int) float64) (q float64) {
	if q, ok := known[day]; ok {
		return q
	}
	defer func() { known[day] = q }()
	var values []float64
	for i, v := range r.c.visits {
		if v.in >= day {
			break
		}
		if v.ready != 0 && v.ready < day && v.ready >= day-365 {
			if x := of(i); !math.IsNaN(x) {
				values = append(values, x)
			}
		}
	}
	if len(values) < leastCohort {
		return math.NaN()
	}
	return forecast.NewEmpirical(values).Quantile(.8)
}
