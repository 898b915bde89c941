package capacity

import (
	"cmp"
	"fmt"
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
	Subcontract    = "subcontract"
	FillLull       = "fill-lull"
)

// Advice is one thing that the owner could decide.
type Advice struct {
	Do          string
	From, Until forecast.Date // first and last day that it is about
	Hours       float64       // on jobs, in all: added, moved, taken off, sent out or free
	DecideBy    forecast.Date // never before today
	Cost        *float64      // in the currency of HourlyCost; nil if not known or none
	Kind        string        // job kind that it is about; empty for all
	Who         string        // whose time off it is about; empty for anybody's
	Offer       []string      // stretches of days that time off which is held had better be moved to, in words
	InsteadOf   string        // what another advice does that this one would replace: one of the two, not both
	Why         string        // a few plain sentences, the last of them what happens if nothing is done
	Otherwise   []Otherwise   // whether it stands where the future isn't the one expected; see Stress
}

// Advise gives what the owner could decide on the plan, soonest decision
// first. The advice is a plan of its own: what costs least is tried first, and
// each further measure is judged on what those before it leave, in the order
// moved work, overtime, Saturdays or a hire, work sent out. Where either a hire
// or Saturdays would do, the cheaper one is advised and the other named as
// InsteadOf it. Time off and lulls are judged without extra hands, which may not
// be found. Every rule reads quantiles of the plan's joint paths and tries its
// advice on them; one that doesn't help isn't given, nor, where the policy knows
// what waiting and lost work cost, one that costs more than it saves.
//
// A hire takes FillWeeks + NoticeWeeks + RampWeeks of the policy, so that the
// paths must reach further than that for the day to post the job to be seen in
// time. o is the plan's outcome. spare tells of each of the paths' weeks whether
// it can spare a technician. It returns the errors of Plan.Outcome.
func Advise(p Plan, o Outcome) (all []Advice, spare []Spared, err error) {
	a, err := newAdviser(p, o)
	if err != nil {
		return nil, nil, err
	}
	spare = a.spare()
	if all, err = a.timeOff(); err != nil {
		return nil, nil, err
	}
	more, err := a.advise(func(string) bool { return true })
	all = append(all, more...)
	slices.SortStableFunc(all, func(a, b Advice) int { return cmp.Compare(a.DecideBy, b.DecideBy) })
	return all, spare, err
}

// advise tries the measures one after the other, up to the last that is wanted.
func (a *adviser) advise(wanted func(do string) bool) ([]Advice, error) {
	var all []Advice
	rules := []struct {
		gives []string
		find  func() ([]Advice, error)
	}{
		{[]string{MoveWork}, a.moveWork}, {[]string{FillLull}, a.lulls}, {[]string{Overtime}, a.overtime},
		{[]string{Hire, OpenSaturday}, a.staff}, {[]string{Subcontract}, a.sendOut},
	}
	for len(rules) > 0 && !slices.ContainsFunc(rules[len(rules)-1].gives, wanted) {
		rules = rules[:len(rules)-1]
	}
	for _, r := range rules {
		some, err := r.find()
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return all, nil
}

// adviser is a plan with its outcome at hand, and with the measures that have
// been advised so far.
type adviser struct {
	Plan
	Policy
	whole Outcome // of the plan as it came, on all paths
	out   Outcome
	ahead forecast.Paths    // out.WeeksOfWork
	weeks forecast.Forecast // its distributions
}

// tryPaths is how many of the plan's paths each measure is tried on, and
// stressPaths on how many of them in other futures. As they are spread evenly,
// a chance of one half is 2 points off in the mean (measured on the stories'
// season); the difference of two that share their random numbers less. What
// other futures say of an advice is what 256 paths say in 94 of 100 cases, with
// 64 as with 48, and in 91 with 32 (twelve invented shops).
const (
	tryPaths    = 128
	stressPaths = 48
)

func newAdviser(p Plan, o Outcome) (*adviser, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	few := p.Thinned(tryPaths).draw(WhatIf{})
	out, err := few.outcome(lines)
	if err != nil {
		return nil, err
	}
	a := &adviser{Policy: p.policy(), whole: o}
	a.adopt(few, out)
	return a, nil
}

// Thinned gives the plan with so many of its paths, if it has more: evenly
// spread among all of them in order of their hours, so that few stand for all.
func (p Plan) Thinned(most int) Plan {
	if len(p.Kinds) == 0 || p.Kinds[0].Hours.H == 0 || p.Kinds[0].Hours.N() <= most {
		return p
	}
	arriving := p.Arriving()
	n := arriving.N()
	hours, order := make([]float64, n), make([]int, n)
	for i := range n {
		order[i] = i
		for _, h := range arriving.Path(i) {
			hours[i] += h
		}
	}
	slices.SortFunc(order, func(i, j int) int { return cmp.Or(cmp.Compare(hours[i], hours[j]), i-j) })
	thin := func(all forecast.Paths) forecast.Paths {
		few := forecast.NewPaths(all.Start, all.Step, all.H, most)
		for i := range most {
			copy(few.Path(i), all.Path(order[(2*i+1)*n/(2*most)]))
		}
		return few
	}
	kinds := make([]Demand, len(p.Kinds))
	for k, d := range p.Kinds {
		kinds[k] = Demand{d.Kind, thin(d.Jobs), thin(d.Hours)}
	}
	p.Kinds, p.drawn = kinds, nil
	return p
}

// adopt takes a plan with one measure more for the one to go on from.
func (a *adviser) adopt(p Plan, out Outcome) {
	a.Plan, a.out = p, out
	a.ahead = out.WeeksOfWork()
	a.weeks = a.ahead.Forecast()
}

// option is a measure with what the plan and its outcome are under it.
type option struct {
	advice []Advice
	plan   Plan
	out    Outcome
}

// cost gives what the option costs, or, where that isn't known, its hours.
func (o option) cost() (sum float64) {
	for _, a := range o.advice {
		if a.Cost != nil {
			sum += *a.Cost
		} else {
			sum += a.Hours
		}
	}
	return sum
}

// worth tells whether a measure of that cost saves as much by turning one plan
// into another, or whether that can't be told.
func (a *adviser) worth(without, with Plan, cost *float64) (bool, error) {
	if cost == nil || !a.weighs() {
		return true, nil
	}
	before, err := a.loss(without)
	if err != nil {
		return false, err
	}
	after, err := a.loss(with)
	return before-after >= *cost, err
}

// weighs tells whether the owner said what waiting or lost work costs.
func (a *adviser) weighs() bool { return a.WaitCost > 0 || a.LostCost > 0 }

// loss gives the mean cost of work that waits at weeks' ends and of work that
// is lost, customers going elsewhere while the line is longer than LostWeeks.
func (a *adviser) loss(p Plan) (float64, error) {
	o, err := p.follow(p.Kinds[0].Hours.H, a.LostWeeks, lines)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for k, line := range o.Backlog.Values {
		sum += a.WaitCost*line + a.LostCost*o.Lost.Values[k]
	}
	return sum / float64(o.Backlog.N()), nil
}

// with gives the plan and its outcome under a change.
func (a *adviser) with(change func(*Plan)) (Plan, Outcome, error) {
	p := a.Plan
	change(&p)
	out, err := p.outcome(lines)
	return p, out, err
}

// staff closes with people what cheaper measures leave: a hire, Saturdays,
// either of them, or both.
func (a *adviser) staff() ([]Advice, error) {
	hire, err := a.hire()
	if err != nil {
		return nil, err
	}
	sat, err := a.saturdays()
	if err != nil {
		return nil, err
	}
	if hire == nil && sat == nil {
		return nil, nil
	}
	enough := func(o *option) bool { return o != nil && o.out.ChanceOver(a.LimitWeeks) < a.LimitChance }
	switch {
	case hire == nil, enough(sat) && !enough(hire):
		a.adopt(sat.plan, sat.out)
		return sat.advice, nil
	case enough(sat) && enough(hire):
		first, other := sat, hire
		if hire.cost() < sat.cost() {
			first, other = hire, sat
		}
		a.adopt(first.plan, first.out)
		names := map[string]string{Hire: "a hire", OpenSaturday: "open Saturdays"}
		do, instead := other.advice[0].Do, first.advice[0].Do
		for i := range first.advice {
			first.advice[i].Why = fmt.Sprintf("Either this or %s, not both: this one %s. %s", names[do], a.cheaper(first, other), first.advice[i].Why)
		}
		for i := range other.advice {
			other.advice[i].InsteadOf = instead
			other.advice[i].Why = fmt.Sprintf("Instead of %s, not on top: the other one %s. %s", names[instead], a.cheaper(first, other), other.advice[i].Why)
		}
		return append(first.advice, other.advice...), nil
	}
	a.adopt(hire.plan, hire.out)
	if enough(hire) {
		return hire.advice, nil
	}
	if sat, err = a.saturdays(); err != nil || sat == nil {
		return hire.advice, err
	}
	a.adopt(sat.plan, sat.out)
	for i := range sat.advice {
		sat.advice[i].Why = "Until a hire is at full speed, or on top of one: " + sat.advice[i].Why
	}
	return append(hire.advice, sat.advice...), nil
}

// cheaper says by what the first option is preferred to the second.
func (a *adviser) cheaper(first, second *option) string {
	if first.advice[0].Cost == nil {
		return fmt.Sprintf("takes %.0f hours on jobs against %.0f", first.cost(), second.cost())
	}
	return fmt.Sprintf("costs about %s less", money(second.cost()-first.cost()))
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
	return fmt.Sprintf("in %s of possible futures", percent(a.PlanAt))
}

func median(p forecast.Paths, j int) float64 { return p.Dist(j).Quantile(.5) }
