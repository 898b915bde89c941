package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

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

	Spare []capacity.Spared `json:"-"` // the weeks that the advice looks at: which can spare a technician
}

// CrewSkill is a group of job kinds that only part of the crew can do.
type CrewSkill struct {
	Kinds []string    `json:"kinds"`
	Who   []string    `json:"who"`
	Weeks []SkillWeek `json:"weeks"`
}

// SkillWeek is one week of such a group: ChanceShort is the least it can be, as
// if those who can do the kinds did nothing else.
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
	Release string  `json:"release"` // weekday on which to let go of what is left: the last open one but one
}

// CrewWeek is one week. In the week that holds AsOf only what is still to come
// counts: the crew's remaining days, and drop-offs not yet in.
type CrewWeek struct {
	Week           forecast.Date   `json:"week"`
	PaidHours      float64         `json:"paid_hours"`
	AvailableHours float64         `json:"available_hours"`
	ExpectedHours  forecast.Spread `json:"expected_hours"`
	BacklogHours   forecast.Spread `json:"backlog_hours"`      // that can be worked on, at the week's end
	BacklogDays    forecast.Spread `json:"backlog_days"`       // the same in the crew's open days after it
	WaitingHours   forecast.Spread `json:"waiting_hours"`      // of jobs that wait for parts or approval
	TurnaroundDays forecast.Spread `json:"turnaround_days"`    // calendar days from drop-off to ready, of the week's jobs
	ChanceShort    float64         `json:"chance_short"`       // that more work comes in than those who can do it have hours for: of all, or of a kind that only some do
	ShortOf        string          `json:"short_of,omitempty"` // the kinds that make it so, where the crew as a whole has the hours
	ShortHours     forecast.Spread `json:"short_hours"`
	RigsOnLot      forecast.Spread `json:"rigs_on_lot"`     // on the week's fullest day
	ChanceLotFull  *float64        `json:"chance_lot_full"` // nil where the lot is no limit
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
	plan, err := s.plan(ctx, d.Store, f)
	if err != nil {
		return Crew{}, err
	}
	c, err := s.staffing(ctx, d.Store, plan, f, change)
	if err != nil || change == (capacity.WhatIf{}) {
		return c, err
	}
	c.Scenario = change.String()
	plan.Near = ask.Weeks
	o, err := plan.Thinned(crewDraws).Outcome()
	if err != nil {
		return Crew{}, err
	}
	c.Baseline = crewWeeks(plan, o, ask.Weeks)
	return c, nil
}

// crewDraws is how many of the futures are worked off day by day.
const crewDraws = 1000

// crewOf answers for the plan as it stands.
func (s *shop) crewOf(ctx context.Context, db *store.Store, f workload.Futures) (Crew, error) {
	plan, err := s.plan(ctx, db, f)
	if err != nil {
		return Crew{}, err
	}
	return s.staffing(ctx, db, plan, f, capacity.WhatIf{})
}

func (s *shop) staffing(ctx context.Context, db *store.Store, plan capacity.Plan, f workload.Futures, change capacity.WhatIf) (Crew, error) {
	plan, err := change.Apply(plan)
	if err != nil {
		return Crew{}, err
	}
	few := plan.Thinned(crewDraws)
	few.Near = s.ask.Weeks
	o, err := few.Outcome()
	if err != nil {
		return Crew{}, err
	}
	out := Crew{Schema: 1, AsOf: s.ask.AsOf, Ahead: len(o.Weeks), Advice: []report.Advice{}, Warnings: s.said(f), Weeks: crewWeeks(plan, o, s.ask.Weeks), Skills: s.crewSkills(o)}
	out.Warnings = append(out.Warnings, s.doubts...)
	if said := s.share.note(); said != "" {
		out.Warnings = append(out.Warnings, said)
	}
	if said := lotFull(out.Weeks, s.policy); said != "" {
		out.Warnings = append(out.Warnings, said)
	}
	if out.HoldBack, err = s.holdBack(ctx, db); err != nil {
		return Crew{}, err
	}
	advice, spare, err := advise(few, o)
	if err != nil {
		return Crew{}, err
	}
	s.spare, out.Spare = spare, spare
	if s.known.Total.Observed() < short/2 {
		// Without a year of records there is no season to hire for.
		advice = slices.DeleteFunc(advice, func(a capacity.Advice) bool { return a.Do == capacity.Hire || a.Do == capacity.OpenSaturday })
	}
	for _, a := range advice {
		said := report.Advice{Do: a.Do, From: a.From, Until: a.Until, Hours: a.Hours, DecideBy: a.DecideBy, Cost: a.Cost, Kind: a.Kind, Who: a.Who, Offer: a.Offer, InsteadOf: a.InsteadOf, Why: a.Why}
		if a.Do == capacity.Hire || a.Do == capacity.OpenSaturday || a.Do == capacity.Subcontract {
			said.Why += s.share.checkFirst()
		}
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
		out.Warnings = append(out.Warnings, Sentence(w))
	}
	return out, nil
}

// crewWeeks gives so many weeks as a plan makes them.
func crewWeeks(plan capacity.Plan, o capacity.Outcome, weeks int) []CrewWeek {
	out, expected, ahead := make([]CrewWeek, weeks), plan.Arriving(), o.WeeksOfWork()
	for k := range ahead.Values {
		ahead.Values[k] *= plan.Calendar.UsualDays()
	}
	for j := range out {
		w := o.Weeks[j]
		out[j] = CrewWeek{Week: w.Monday, PaidHours: w.Paid, AvailableHours: w.Available,
			ExpectedHours: forecast.SpreadOf(expected.Dist(j)), BacklogHours: forecast.SpreadOf(o.Backlog.Dist(j)),
			BacklogDays: forecast.SpreadOf(ahead.Dist(j)), WaitingHours: forecast.SpreadOf(o.Waiting.Dist(j)),
			TurnaroundDays: forecast.Unknown(), ChanceShort: o.ChanceShort[j], ShortHours: forecast.SpreadOf(o.Short.Dist(j)), RigsOnLot: forecast.SpreadOf(o.OnLot.Dist(j))}
		if kinds := o.Tight(j); len(kinds) > 2 {
			out[j].ShortOf = fmt.Sprintf("%s, %s and %d more", kinds[0], kinds[1], len(kinds)-2)
		} else {
			out[j].ShortOf = strings.Join(kinds, ", ")
		}
		if o.Ready[j].N() > 0 {
			out[j].TurnaroundDays = forecast.SpreadOf(o.Ready[j])
		}
		if plan.Policy.LotSpaces > 0 {
			out[j].ChanceLotFull = &o.LotFull[j]
		}
	}
	return out
}

// lotFull says in which weeks the lot is likelier full than the owner puts up
// with; nothing if in none.
func lotFull(weeks []CrewWeek, p capacity.Policy) string {
	first, worst, n := CrewWeek{}, 0.0, 0
	for _, w := range weeks {
		if w.ChanceLotFull == nil || *w.ChanceLotFull <= p.LimitChance {
			continue
		}
		if n++; n == 1 {
			first = w
		}
		worst = max(worst, *w.ChanceLotFull)
	}
	if n == 0 {
		return ""
	}
	said := fmt.Sprintf("All %d lot spaces may be taken in the week of %s (a chance of %.0f %%)", p.LotSpaces, report.Day(first.Week), 100**first.ChanceLotFull)
	if n > 1 {
		said += fmt.Sprintf(" and in %s more, with a chance of up to %.0f %%", report.Count(float64(n-1), "week"), 100*worst)
	}
	return said + ": ask those whose job can wait to keep their rig at home."
}

func (s *shop) crewSkills(o capacity.Outcome) []CrewSkill {
	out := []CrewSkill{}
	for _, k := range o.Skills {
		c := CrewSkill{Kinds: k.Kinds, Who: k.Who}
		for j, w := range o.Weeks[:s.ask.Weeks] {
			c.Weeks = append(c.Weeks, SkillWeek{Week: w.Monday, AvailableHours: k.Available[j], ExpectedHours: forecast.SpreadOf(k.Arriving.Dist(j)),
				BacklogHours: forecast.SpreadOf(k.Backlog.Dist(j)), ChanceShort: k.ChanceShort[j]})
		}
		out = append(out, c)
	}
	return out
}

// advise gives the advice on the plan as it stands, a word on each time off
// that lies far enough ahead to be settled still, and which weeks can spare
// someone. All time off counts in the plan's hours; to be judged it is taken out
// first.
func advise(p capacity.Plan, o capacity.Outcome) (advice []capacity.Advice, spare []capacity.Spared, err error) {
	p = p.SharingDraws()
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
	var found [2][]capacity.Advice
	if err := forecast.Together(len(found), func(i int) (err error) {
		about := p
		if i == 0 {
			found[i], spare, err = capacity.Advise(p, o)
		} else {
			about = asked
			found[i], err = capacity.TimeOff(asked, o)
		}
		if err != nil {
			return err
		}
		return capacity.Stress(about, found[i])
	}); err != nil {
		return nil, nil, err
	}
	advice = slices.Concat(found[0], found[1])
	slices.SortStableFunc(advice, func(a, b capacity.Advice) int { return cmp.Compare(a.DecideBy, b.DecideBy) })
	return advice, spare, nil
}
