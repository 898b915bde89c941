package workload

import (
	"errors"
	"math"
	"math/rand/v2"

	"freshet/forecast"
)

// Result is how a shop's forecasts would have turned out on its own history.
type Result struct {
	DropOffs, Hours Record
	Kinds           []Record // drop-offs by kind
	Origins         []forecast.Date
}

// Record is the outcomes of one quantity, in order of origin and step.
type Record struct {
	Name     string
	Outcomes []forecast.Outcome
}

// Ahead gives the score of the outcomes from one step to another, ends
// included.
func (r Record) Ahead(from, to int) forecast.Score {
	var out []forecast.Outcome
	for _, o := range r.Outcomes {
		if from <= o.Step && o.Step <= to {
			out = append(out, o)
		}
	}
	return forecast.Summarize(out)
}

// ready is the share of a week's jobs that must be finished, and their hours
// known, before its hours can be scored.
const ready = .97

// Backtest forecasts weeks ahead from each of the Mondays in origins as it
// would have been done then, with n paths, and sets the forecasts against what
// the book holds by asOf. The simple rule beside them is the same week last
// year; weeks without one aren't scored. Origins run on all cores; each has its
// own random source made from seed and the day. It returns an error if nothing
// could be scored: that of an origin which couldn't be fitted, if there is one.
func Backtest(m Model, b *Book, asOf forecast.Date, origins []forecast.Date, weeks, n int, seed uint64) (Result, error) {
	now := b.Known(asOf)
	hours := weekHours(b, now)
	res := Result{Origins: origins, DropOffs: Record{Name: "all"}, Hours: Record{Name: "all"}, Kinds: make([]Record, len(b.Kinds))}
	for k, name := range b.Kinds {
		res.Kinds[k].Name = name
	}
	type part struct {
		fu  Futures
		err error
	}
	parts := make([]part, len(origins))
	forecast.Together(len(origins), func(i int) error {
		fit, err := m.Fit(b.Known(origins[i]))
		if err != nil {
			parts[i].err = err
			return nil // the others are tried all the same
		}
		parts[i].fu = fit.Simulate(weeks, n, rand.New(rand.NewPCG(seed, uint64(origins[i]))))
		return nil
	})
	var failed error
	for i, o := range origins {
		if parts[i].err != nil {
			failed = parts[i].err
			continue
		}
		fu := parts[i].fu
		at := int(o.Monday()-now.Total.Start) / forecast.Week
		res.DropOffs.add(now.Total.Values, at, fu.Total)
		if fu.Labor.Values != nil {
			res.Hours.add(hours, at, fu.Labor)
		}
		for k := range b.Kinds {
			res.Kinds[k].add(now.ByKind[k], at, fu.DropOffs[k])
		}
	}
	if len(res.DropOffs.Outcomes) == 0 {
		if failed == nil {
			failed = errors.New("forecast: need weeks of records after a past Monday to score, have none")
		}
		return res, failed
	}
	return res, nil
}

// add sets the paths from step at of the actual values against what came.
func (r *Record) add(actual []float64, at int, paths forecast.Paths) {
	if at < 0 || at >= len(actual) {
		return
	}
	const lag = 52
	scale := forecast.SeasonalScale(actual[:at], lag)
	if math.IsNaN(scale) {
		scale = forecast.SeasonalScale(actual[:at], 1)
	}
	for j := range paths.H {
		if at+j >= len(actual) || math.IsNaN(actual[at+j]) {
			continue
		}
		rule := math.NaN()
		if t := at + j - lag; t >= 0 && t < at {
			rule = actual[t]
		}
		if math.IsNaN(rule) {
			continue // without last year's week there is nothing to beat
		}
		r.Outcomes = append(r.Outcomes, forecast.Outcome{Origin: at, Step: j + 1, Actual: actual[at+j], Dist: paths.Dist(j), Rule: rule, Scale: scale})
	}
}

// weekHours gives the hours of the jobs dropped off in each week of p, NaN
// where too few of them are finished to know.
func weekHours(b *Book, p Past) []float64 {
	n := p.Total.Len()
	sum, known, all := make([]float64, n), make([]float64, n), make([]float64, n)
	for _, j := range b.Jobs {
		w := int(j.DroppedOff-p.Total.Start) / forecast.Week
		if j.DroppedOff < p.Total.Start || w >= n {
			continue
		}
		all[w]++
		if j.Ready != 0 && j.Ready < p.AsOf && !math.IsNaN(j.Hours) {
			known[w]++
			sum[w] += j.Hours
		}
	}
	for w := range sum {
		if known[w] < ready*all[w] || math.IsNaN(p.Total.Values[w]) {
			sum[w] = math.NaN()
		}
	}
	return sum
}
