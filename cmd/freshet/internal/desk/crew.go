package desk

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/store"
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

	Scenario string      `json:"scenario,omitempty"` // the change tried out, in words
	Baseline []CrewWeek  `json:"baseline,omitempty"` // the weeks without the change
	Ahead    int         `json:"advice_weeks"`       // weeks that the advice looks ahead
	Skills   []CrewSkill `json:"skills"`             // job kinds that only part of the crew can do
	HoldBack *HoldBack   `json:"hold_back"`          // nil where there are too few emergencies to tell
}

// CrewSkill is a group of job kinds that only part of the crew can do, set
// against the hours of that part as if it did nothing else.
type CrewSkill struct {
	Kinds []string    `json:"kinds"`
	Who   []string    `json:"who"`
	Weeks []SkillWeek `json:"weeks"`
}

// SkillWeek is one week of such a group: ChanceShort is the least it can be.
type SkillWeek struct {
	Week           forecast.Date   `json:"week"`
	AvailableHours float64         `json:"available_hours"`
	ExpectedHours  forecast.Spread `json:"expected_hours"`
	BacklogHours   forecast.Spread `json:"backlog_hours"`
	ChanceShort    float64         `json:"chance_short"`
}

// HoldBack is the hours a week to leave free of promises for emergencies:
// enough for a share At of the weeks.
type HoldBack struct {
	PerWeek float64 `json:"emergencies_per_week"`
	Hours   float64 `json:"hours"`
	At      float64 `json:"at"`
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
	c, err := s.staffing(ctx, d.Store, f, change)
	if err != nil || change == (capacity.WhatIf{}) {
		return c, err
	}
	c.Scenario = change.String()
	plan, err := s.plan(f)
	if err != nil {
		return Crew{}, err
	}
	c.Baseline, err = s.crewWeeks(plan)
	return c, err
}

// partsIn is the weeks over which jobs that wait for parts or approval come
// free: from memory, until a shop's own waits are learned.
const partsIn = 4

func (s *shop) staffing(ctx context.Context, db *store.Store, f workload.Futures, change capacity.WhatIf) (Crew, error) {
	plan, err := s.plan(f)
	if err != nil {
		return Crew{}, err
	}
	if plan, err = change.Apply(plan); err != nil {
		return Crew{}, err
	}
	out := Crew{Schema: 1, AsOf: s.ask.AsOf, Ahead: plan.Arriving.H, Advice: []report.Advice{}, Warnings: s.said(f)}
	if out.Weeks, err = s.crewWeeks(plan); err != nil {
		return Crew{}, err
	}
	if out.Skills, err = s.crewSkills(plan); err != nil {
		return Crew{}, err
	}
	if out.HoldBack, err = s.holdBack(ctx, db); err != nil {
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
	for _, a := range advice {
		said := report.Advice{Do: a.Do, From: a.From, Until: a.Until, Hours: a.Hours, DecideBy: a.DecideBy, Cost: a.Cost, Kind: a.Kind, InsteadOf: a.InsteadOf, Why: a.Why}
		for _, o := range a.Otherwise {
			said.Otherwise = append(said.Otherwise, report.Otherwise(o))
		}
		if a.Do == capacity.FillLull {
			if said.Call, err = s.calls(ctx, db); err != nil {
				return Crew{}, err
			}
		}
		out.Advice = append(out.Advice, said)
	}
	for _, w := range plan.Warnings() {
		out.Warnings = append(out.Warnings, sentence(w))
	}
	return out, nil
}

// crewWeeks gives the weeks asked for as a plan makes them.
func (s *shop) crewWeeks(plan capacity.Plan) ([]CrewWeek, error) {
	o, err := plan.Outcome()
	if err != nil {
		return nil, err
	}
	out, turnaround := make([]CrewWeek, s.ask.Weeks), o.Turnaround()
	for j := range out {
		w := o.Weeks[j]
		out[j] = CrewWeek{Week: w.Monday, PaidHours: w.Paid, AvailableHours: w.Available,
			ExpectedHours: forecast.SpreadOf(plan.Arriving.Dist(j)), BacklogHours: forecast.SpreadOf(o.Backlog.Dist(j)),
			TurnaroundDays: forecast.SpreadOf(turnaround.Dist(j)), ChanceShort: o.ChanceShort[j], ShortHours: forecast.SpreadOf(o.Short.Dist(j))}
	}
	return out, nil
}

func (s *shop) crewSkills(plan capacity.Plan) ([]CrewSkill, error) {
	skills, err := plan.Skills()
	out := []CrewSkill{}
	for _, k := range skills {
		c := CrewSkill{Kinds: k.Kinds, Who: k.Who}
		for j, w := range k.Weeks[:s.ask.Weeks] {
			c.Weeks = append(c.Weeks, SkillWeek{Week: w.Monday, AvailableHours: w.Available, ExpectedHours: forecast.SpreadOf(k.Arriving.Dist(j)),
				BacklogHours: forecast.SpreadOf(k.Backlog.Dist(j)), ChanceShort: k.ChanceShort[j]})
		}
		out = append(out, c)
	}
	return out, err
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
	kinds, err := s.demands(f)
	if err != nil {
		return capacity.Plan{}, err
	}
	p := capacity.Plan{From: s.ask.AsOf, Policy: s.policy, Kinds: kinds, Calendar: s.calendar, Crew: s.crew, Load: load, Released: load.Release(partsIn, arriving.H), Arriving: arriving}
	for _, a := range s.absences {
		if a.Until >= s.ask.AsOf {
			p.Absences = append(p.Absences, a)
		}
	}
	return p, nil
}

// demands gives the plan's work by job kind. Jobs whose kind isn't said are
// left out: anybody may do them.
func (s *shop) demands(f workload.Futures) ([]capacity.Demand, error) {
	var out []capacity.Demand
	for k, kind := range f.Kinds {
		if kind == noKind {
			continue
		}
		load, err := capacity.NewLoad(slices.DeleteFunc(slices.Clone(s.open), func(j capacity.Job) bool { return j.Kind != kind }))
		if err != nil {
			return nil, err
		}
		hours := forecast.NewPaths(f.Labor.Start, f.Labor.Step, f.Labor.H, f.Labor.N())
		copy(hours.Values, f.Hours[k].Values)
		for i, still := range f.Still { // in the first week only what has yet to come, in proportion
			if all := f.Labor.Path(i)[0]; all > 0 {
				hours.Path(i)[0] *= still / all
			}
		}
		out = append(out, capacity.Demand{Kind: kind, Ready: load.Ready, Released: load.Release(partsIn, hours.H), Arriving: hours})
	}
	return out, nil
}

// advise gives the advice on the plan as it stands, and a word on each time
// off that lies far enough ahead to be settled still. All of it counts in the
// plan's hours; to be judged it is taken out first.
func advise(p capacity.Plan) ([]capacity.Advice, error) {
	advice, err := capacity.Advise(p)
	if err != nil {
		return nil, err
	}
	if err := capacity.Stress(p, advice); err != nil {
		return nil, err
	}
	asked := p
	asked.Absences = nil
	settled := p.From + forecast.Date(7*p.Policy.TimeOffAhead)
	for _, a := range p.Absences {
		if a.From >= settled {
			asked.Requested = append(asked.Requested, a)
		} else {
			asked.Absences = append(asked.Absences, a)
		}
	}
	judged, err := capacity.TimeOff(asked)
	if err != nil {
		return nil, err
	}
	if err := capacity.Stress(asked, judged); err != nil {
		return nil, err
	}
	advice = append(advice, judged...)
	slices.SortStableFunc(advice, func(a, b capacity.Advice) int { return cmp.Compare(a.DecideBy, b.DecideBy) })
	return advice, nil
}
