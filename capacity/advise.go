package capacity

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// What an Advice says to do.
const (
	Hire           = "hire"
	Overtime       = "overtime"
	OpenSaturday   = "open-saturday"
	MoveWork       = "move-work"
	ApproveTimeOff = "approve-time-off"
	HoldTimeOff    = "hold-time-off"
	FillLull       = "fill-lull"
)

// Advice is one thing that the owner could decide.
type Advice struct {
	Do          string
	From, Until forecast.Date // first and last day that it is about
	Hours       float64       // on jobs, in all: added, moved, taken off or free
	DecideBy    forecast.Date // never before today
	Cost        *float64      // in the currency of HourlyCost; nil if not known or none
	Why         string        // a few plain sentences, the last of them what happens if nothing is done
}

// Advise gives what the owner could decide on the plan, soonest decision
// first. Every rule reads quantiles of the plan's joint paths and tries its
// advice on them; one that doesn't help isn't given.
//
// A hire takes FillWeeks + NoticeWeeks + RampWeeks of the policy, so that the
// paths must reach further than that for the day to post the job to be seen in
// time. It returns the errors of Plan.Outcome.
func Advise(p Plan) ([]Advice, error) {
	out, err := p.Outcome()
	if err != nil {
		return nil, err
	}
	ahead := out.WeeksOfWork()
	a := &adviser{Plan: p, Policy: p.policy(), out: out, ahead: ahead, weeks: ahead.Forecast()}
	var all []Advice
	for _, rule := range []func(*adviser) ([]Advice, error){
		(*adviser).hire, (*adviser).overtime, (*adviser).saturdays, (*adviser).moveWork, (*adviser).timeOff, (*adviser).lulls,
	} {
		some, err := rule(a)
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	slices.SortStableFunc(all, func(a, b Advice) int { return cmp.Compare(a.DecideBy, b.DecideBy) })
	return all, nil
}

// adviser is a plan with its outcome at hand.
type adviser struct {
	Plan
	Policy
	out   Outcome
	ahead forecast.Paths    // out.WeeksOfWork
	weeks forecast.Forecast // its distributions
}

// try gives the outcome of the plan with a change.
func (a *adviser) try(change func(*Plan)) (Outcome, error) {
	p := a.Plan
	change(&p)
	return p.outcome()
}

// tryHire gives the outcome with one technician more from a day on.
func (a *adviser) tryHire(from forecast.Date) (Outcome, error) {
	p, err := WhatIf{AddTech: 1, AddTechFrom: from}.Apply(a.Plan)
	if err != nil {
		return Outcome{}, err
	}
	return p.outcome()
}

// run is a stretch of weeks, first and last included.
type run struct{ first, last int }

func (r run) len() int { return r.last - r.first + 1 }

// runs gives the longest stretches of weeks that satisfy in.
func (a *adviser) runs(in func(j int) bool) []run {
	var out []run
	for j := range a.out.Weeks {
		switch {
		case !in(j):
		case len(out) > 0 && out[len(out)-1].last == j-1:
			out[len(out)-1].last = j
		default:
			out = append(out, run{j, j})
		}
	}
	return out
}

// shortages gives the stretches in which the backlog at the week's end is more
// likely than not above what the shop is content to carry.
func (a *adviser) shortages() []run {
	return a.runs(func(j int) bool { return a.weeks.Dists[j].Quantile(.5) > a.CarryWeeks })
}

// from and until give a run's first day that counts and its last day.
func (a *adviser) from(r run) forecast.Date  { return a.out.Weeks[r.first].From }
func (a *adviser) until(r run) forecast.Date { return a.out.Weeks[r.last].Monday + 6 }

// before gives the day so many weeks before d, but not one that has passed.
func (a *adviser) before(d forecast.Date, weeks int) forecast.Date {
	return max(a.From, d-forecast.Date(7*weeks))
}

// peak gives the week with the greatest PlanAt quantile of a backlog, and that
// quantile in hours.
func (a *adviser) peak(backlog forecast.Paths) (week int, hours float64) {
	for j, q := range backlog.Forecast().Quantiles(a.PlanAt) {
		if q > hours {
			week, hours = j, q
		}
	}
	return week, hours
}

// cost gives the price of so many paid hours of a typical technician at so
// many times the regular cost, nil if the cost isn't known.
func (a *adviser) cost(paid, times float64) *float64 {
	c := paid * times * a.Crew.typical(a.From).HourlyCost
	if c == 0 {
		return nil
	}
	return &c
}

// odds puts the plan's quantile in words.
func (a *adviser) odds() string {
	return fmt.Sprintf("in %s of the simulated futures", percent(a.PlanAt))
}

func percent(p float64) string { return fmt.Sprintf("%.0f%%", 100*p) }

// hours puts a number of hours in words.
func hours(h float64) string { return fmt.Sprintf("%.0f h", h) }

// shown is the least number of hours worth a word.
const shown = 1

func dayName(d forecast.Date) string { return d.Time().Format("January 2") }

func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

func median(p forecast.Paths, j int) float64 { return p.Dist(j).Quantile(.5) }

// turnaround gives the greatest median wait in days within a run.
func turnaround(o Outcome, r run) float64 {
	worst := 0.0
	for j := r.first; j <= r.last; j++ {
		worst = max(worst, median(o.Turnaround, j))
	}
	return math.Round(worst)
}
