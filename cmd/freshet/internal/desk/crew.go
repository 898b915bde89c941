package desk

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/report"
)

// Crew is the hours available against the hours expected, what follows for
// the backlog, and what to decide by when.
type Crew struct {
	Schema   int             `json:"schema"`
	AsOf     forecast.Date   `json:"as_of"`
	Weeks    []CrewWeek      `json:"weeks"`
	Advice   []report.Advice `json:"advice"`
	Warnings []string        `json:"warnings"`
}

// CrewWeek is one week. In the week that holds AsOf only what is still to come
// counts: the crew's remaining days, and drop-offs not yet in.
type CrewWeek struct {
	Week           forecast.Date   `json:"week"`
	PaidHours      float64         `json:"paid_hours"`
	AvailableHours float64         `json:"available_hours"`
	ExpectedHours  forecast.Spread `json:"expected_hours"`
	BacklogHours   forecast.Spread `json:"backlog_hours"`
	TurnaroundDays forecast.Spread `json:"turnaround_days"`
	ChanceShort    float64         `json:"chance_short"`
	ShortHours     forecast.Spread `json:"short_hours"`
}

// Errors of a shop whose crew can't be set against its work.
var (
	ErrNoCrew  = errors.New("need at least 1 technician, have none: import a crew file with name and weekly_hours")
	ErrNoHours = errors.New("need hours of finished jobs to know what work takes, have none: import clocked, billed or quoted hours")
)

// Crew answers whether the crew's hours meet the work, under a change or with
// the zero WhatIf as things stand.
func (d *Desk) Crew(ctx context.Context, ask Ask, change capacity.WhatIf) (Crew, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return Crew{}, err
	}
	f, err := s.futures()
	if err != nil {
		return Crew{}, err
	}
	return s.staffing(f, change)
}

// partsIn is the weeks over which jobs that wait for parts or approval come
// free: from memory, until a shop's own waits are learned.
const partsIn = 4

func (s *shop) staffing(f workload.Futures, change capacity.WhatIf) (Crew, error) {
	plan, err := s.plan(f)
	if err != nil {
		return Crew{}, err
	}
	if plan, err = change.Apply(plan); err != nil {
		return Crew{}, err
	}
	o, err := plan.Outcome()
	if err != nil {
		return Crew{}, err
	}
	advice, err := advise(plan)
	if err != nil {
		return Crew{}, err
	}
	if s.known.Total.Observed() < short/2 {
		// Without a year of records there is no season to hire for.
		advice = slices.DeleteFunc(advice, func(a capacity.Advice) bool { return a.Do == capacity.Hire || a.Do == capacity.OpenSaturday })
	}
	out := Crew{Schema: 1, AsOf: s.ask.AsOf, Weeks: make([]CrewWeek, s.ask.Weeks), Advice: []report.Advice{}, Warnings: s.said(f)}
	for j := range out.Weeks {
		w := o.Weeks[j]
		out.Weeks[j] = CrewWeek{Week: w.Monday, PaidHours: w.Paid, AvailableHours: w.Available,
			ExpectedHours: forecast.SpreadOf(plan.Arriving.Dist(j)), BacklogHours: forecast.SpreadOf(o.Backlog.Dist(j)),
			TurnaroundDays: forecast.SpreadOf(o.Turnaround.Dist(j)), ChanceShort: o.ChanceShort[j], ShortHours: forecast.SpreadOf(o.Short.Dist(j))}
	}
	for _, a := range advice {
		out.Advice = append(out.Advice, report.Advice{Do: a.Do, From: a.From, Until: a.Until, Hours: a.Hours, DecideBy: a.DecideBy, Cost: a.Cost, Why: a.Why})
	}
	for _, w := range plan.Warnings() {
		out.Warnings = append(out.Warnings, sentence(w))
	}
	return out, nil
}

// plan puts the crew, its calendar and the work side by side.
func (s *shop) plan(f workload.Futures) (capacity.Plan, error) {
	if len(s.crew) == 0 {
		return capacity.Plan{}, ErrNoCrew
	}
	if f.Labor.Values == nil {
		return capacity.Plan{}, ErrNoHours
	}
	load, err := capacity.NewLoad(s.open)
	if err != nil {
		return capacity.Plan{}, err
	}
	arriving := forecast.NewPaths(f.Labor.Start, f.Labor.Step, f.Labor.H, f.Labor.N())
	copy(arriving.Values, f.Labor.Values)
	for i, h := range f.Still {
		arriving.Path(i)[0] = h // the rest of the week has come and lies among the open jobs
	}
	p := capacity.Plan{From: s.ask.AsOf, Calendar: s.calendar, Crew: s.crew, Load: load, Released: load.Release(partsIn, arriving.H), Arriving: arriving}
	for _, a := range s.absences {
		if a.Until >= s.ask.AsOf {
			p.Absences = append(p.Absences, a)
		}
	}
	return p, nil
}

// advise gives the advice on the plan as it stands, and a word on each time
// off that lies far enough ahead to be settled still. All of it counts in the
// plan's hours; to be judged it is taken out first.
func advise(p capacity.Plan) ([]capacity.Advice, error) {
	advice, err := capacity.Advise(p)
	if err != nil {
		return nil, err
	}
	asked := p
	asked.Absences = nil
	settled := p.From + forecast.Date(7*capacity.DefaultPolicy().TimeOffAhead)
	for _, a := range p.Absences {
		if a.From >= settled {
			asked.Requested = append(asked.Requested, a)
		} else {
			asked.Absences = append(asked.Absences, a)
		}
	}
	if len(asked.Requested) == 0 {
		return advice, nil
	}
	judged, err := capacity.Advise(asked)
	if err != nil {
		return nil, err
	}
	timeOff := func(a capacity.Advice) bool { return a.Do == capacity.ApproveTimeOff || a.Do == capacity.HoldTimeOff }
	for _, a := range judged {
		if timeOff(a) {
			advice = append(advice, a)
		}
	}
	slices.SortStableFunc(advice, func(a, b capacity.Advice) int { return cmp.Compare(a.DecideBy, b.DecideBy) })
	return advice, nil
}
