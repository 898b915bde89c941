package desk

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"freshet/forecast"
	"freshet/forecast/naive"
	"freshet/forecast/workload"
	"freshet/ingest/store"
	"freshet/report"
)

// Report answers with the whole weekly report. A shop without a crew or
// without hours gets the parts that can be known, and is told of the rest.
func (d *Desk) Report(ctx context.Context, ask Ask, version string) (report.Report, error) {
	_, r, err := d.report(ctx, ask, version)
	return r, err
}

func (d *Desk) report(ctx context.Context, ask Ask, version string) (*shop, report.Report, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return nil, report.Report{}, err
	}
	f, err := s.futures()
	if err != nil {
		return nil, report.Report{}, err
	}
	o := s.outlook(f)
	facts := report.Facts{Shop: s.name, Demo: s.demo, AsOf: ask.AsOf, DataUntil: o.DataUntil, Seed: ask.Seed, Version: version,
		Model: o.Model.DropOffs, Hours: o.Model.Hours, Warnings: o.Warnings, Advice: []report.Advice{}, Accuracy: accuracy(f)}
	for _, w := range o.Weeks {
		facts.Weeks = append(facts.Weeks, report.Week{Monday: w.Week, DropOffs: w.DropOffs, Hours: w.Hours})
	}
	facts.ThisWeek = facts.Weeks[0]
	if s.ask.AsOf.Weekday() != time.Monday {
		facts.Weeks[0] = s.restOfWeek(f)
	}
	usual := s.usual()
	facts.Season = s.season(f, usual)
	facts.Kinds = s.kinds(f)
	facts.Alerts = []report.Alert{}
	s.jobsFrom = ask.AsOf - visitDays // both parts read jobs
	part(&facts, "The watch for what doesn't fit", func() error { return s.reportOdd(ctx, d.Store, &facts) })
	part(&facts, "The crew's plan", func() error { return s.reportCrew(ctx, d.Store, f, &facts) })
	part(&facts, "The record of last week's quotes", func() (err error) {
		facts.Quotes, err = d.quotesDue(ctx, ask.AsOf)
		return err
	})
	return s, report.Build(facts), nil
}

// part has a part of the report made. If it fails, or breaks off, the report
// says so, and has the rest.
func part(f *report.Facts, what string, do func() error) {
	defer func() {
		if p := recover(); p != nil {
			f.Failed = append(f.Failed, what+" broke off: that is a fault of freshet.")
		}
	}()
	if err := do(); err != nil {
		f.Failed = append(f.Failed, fmt.Sprintf("%s could not be made: %v.", what, err))
	}
}

// reportOdd adds what doesn't fit.
func (s *shop) reportOdd(ctx context.Context, db *store.Store, facts *report.Facts) error {
	if err := s.readDetails(ctx, db); err != nil {
		return err
	}
	odd, err := s.watch()
	if err != nil {
		return err
	}
	for _, a := range odd.Alerts {
		facts.Alerts = append(facts.Alerts, a.told())
	}
	if odd.Season.ShiftDays.Known() {
		facts.Timing = odd.Season.String()
	}
	return nil
}

// reportCrew adds the crew's side, or says what it lacks.
func (s *shop) reportCrew(ctx context.Context, db *store.Store, f workload.Futures, facts *report.Facts) error {
	crew, err := s.crewOf(ctx, db, f)
	switch {
	case errors.Is(err, ErrNoCrew), errors.Is(err, ErrNoHours):
		facts.Warnings = append(facts.Warnings, "The crew's side is missing: "+err.Error()+".")
	case err != nil:
		return err
	default:
		facts.Warnings = crew.Warnings
		for j, w := range crew.Weeks {
			facts.Weeks[j].Crew = &report.CrewWeek{Available: w.AvailableHours, Backlog: w.BacklogHours, Turnaround: w.TurnaroundDays, ChanceShort: w.ChanceShort, ShortOf: w.ShortOf}
		}
		facts.Advice = crew.Advice
	}
	return nil
}

// restOfWeek gives what is still to come of the week that has begun.
func (s *shop) restOfWeek(f workload.Futures) report.Week {
	seen := 0.0
	for _, n := range s.known.Seen {
		seen += n
	}
	left := make([]float64, f.Total.N())
	for i := range left {
		left[i] = f.Total.Path(i)[0] - seen
	}
	w := report.Week{Monday: f.Total.Start, Rest: true, DropOffs: forecast.SpreadOf(forecast.NewEmpirical(left)), Hours: forecast.Unknown()}
	if f.Still != nil {
		w.Hours = forecast.SpreadOf(forecast.NewEmpirical(slices.Clone(f.Still)))
	}
	return w
}

// accuracy gives the chosen model's score on the shop's own past.
func accuracy(f workload.Futures) *report.Accuracy {
	if f.Score == nil {
		return nil
	}
	return &report.Accuracy{Origins: f.Score.Origins, WeeksAhead: f.Steps, WAPE: f.Score.WAPE, RuleWAPE: f.Score.RuleWAPE, Coverage80: f.Score.Coverage80}
}

// usual gives the mean drop-offs of the week that begins on a Monday, over the
// years on record up to a year ago, neighbours counting too; nil where there
// are fewer than two.
func (s *shop) usual() func(forecast.Date) *float64 {
	return usualOf(s.known.Total.Like(s.known.Lasting(s.known.Total.Values)))
}

func usualOf(t forecast.Series) func(forecast.Date) *float64 {
	if t.Len() < 2*t.Lag() {
		return func(forecast.Date) *float64 { return nil }
	}
	// This year is what is to be judged, so that it has no say in what is
	// usual, unless there is nothing else.
	past := t
	if t.Len() >= 3*t.Lag() {
		past = t.Slice(0, t.Len()-t.Lag())
	}
	shape := naive.Shape(past, usualWidth)
	return func(monday forecast.Date) *float64 {
		return forecast.Number(shape.At(past, int(monday-past.Start)/forecast.Week))
	}
}

// usualWidth is how many neighbouring weeks to either side smooth the usual
// season.
const usualWidth = 2

// back and ahead are the weeks that the season's picture shows.
const (
	back  = 39
	ahead = 13
)

func (s *shop) season(f workload.Futures, usual func(forecast.Date) *float64) []report.Point {
	t := s.known.Total
	monday := s.ask.AsOf.Monday()
	var out []report.Point
	for w := -back; w < ahead && w < f.Total.H; w++ {
		p := report.Point{Monday: monday + forecast.Date(w*forecast.Week), Expected: forecast.Unknown()}
		p.Usual = usual(p.Monday)
		if w >= 0 {
			p.Expected = forecast.SpreadOf(f.Total.Dist(w))
		} else if i := t.Len() + w; i >= 0 {
			p.Actual = forecast.Number(t.Values[i])
		} else {
			continue
		}
		out = append(out, p)
	}
	return out
}

// four is the weeks that kinds are summed over.
const four = 4

func (s *shop) kinds(f workload.Futures) []report.Kind {
	finished := make([]int, len(f.Kinds))
	hours := make([]float64, len(f.Kinds))
	for _, j := range s.book.Jobs {
		if !math.IsNaN(j.Hours) {
			finished[j.Kind]++
			hours[j.Kind] += j.Hours
		}
	}
	var out []report.Kind
	for k, name := range f.Kinds {
		row := report.Kind{Name: name, NextFour: sumOf(f.DropOffs[k], four), NextHours: forecast.Unknown(), FinishedJobs: finished[k]}
		if f.Hours != nil {
			row.NextHours = sumOf(f.Hours[k], four)
		}
		if finished[k] > 0 {
			row.HoursPerJob = forecast.Number(hours[k] / float64(finished[k]))
		}
		t := s.known.Total.Like(s.known.ByKind[k])
		usual := usualOf(t.Like(s.known.Lasting(t.Values)))
		sum, known := 0.0, true
		for i := max(0, t.Len()-four); i < t.Len(); i++ {
			if v := t.Values[i]; !math.IsNaN(v) {
				row.LastFour += v
			}
			u := usual(t.At(i))
			known = known && u != nil
			if known {
				sum += *u
			}
		}
		if known && t.Len() >= four {
			row.UsualFour = &sum
		}
		out = append(out, row)
	}
	return out
}

// sumOf gives the spread of the sum of the first n weeks of each path: a sum
// of quantiles would be wrong.
func sumOf(p forecast.Paths, n int) forecast.Spread {
	sums := make([]float64, p.N())
	for i := range sums {
		for _, v := range p.Path(i)[:min(n, p.H)] {
			sums[i] += v
		}
	}
	return forecast.SpreadOf(forecast.NewEmpirical(sums))
}
