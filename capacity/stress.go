package capacity

import (
	"cmp"
	"errors"
	"slices"

	"freshet/forecast"
)

// Otherwise tells what becomes of an advice where the future isn't the one
// expected.
type Otherwise struct {
	If       string        // the case in words
	Stands   bool          // the same is advised then, within eight weeks of its days
	Hours    float64       // then
	DecideBy forecast.Date // then
	Instead  string        // where it doesn't stand, what else that brings hours is advised for its days then, as in Advice.Do; "": nothing
}

// Cases are the futures that advice is tried on besides the expected one: the
// season three weeks late, 15 % less and more work, one technician leaving
// after a usual notice. The sizes are common practice, no source.
func (p Plan) Cases() []WhatIf {
	return []WhatIf{
		{SeasonShiftDays: 21}, {DemandPercent: -15}, {DemandPercent: 15},
		{AddTech: -1, AddTechFrom: p.From + forecast.Date(7*p.policy().NoticeWeeks)},
	}
}

// Stress fills in Otherwise of each advice on the plan: the plan is advised on
// anew in each of its Cases, side by side. A case that leaves nobody at work is
// left out, as there is no advice then. It returns the errors of Advise.
func Stress(p Plan, all []Advice) error {
	if len(all) == 0 {
		return nil
	}
	cases, few := p.Cases(), p.Thinned(stressPaths)
	found := make([][]Otherwise, len(cases))
	if err := forecast.Together(len(cases), func(k int) (err error) {
		if found[k], err = cases[k].stress(few, all); errors.Is(err, errNoHours) {
			err = nil
		}
		return err
	}); err != nil {
		return err
	}
	for i := range all {
		for _, f := range found {
			if f != nil {
				all[i].Otherwise = append(all[i].Otherwise, f[i])
			}
		}
	}
	return nil
}

// stress tells how each advice on the plan stands under the change.
func (w WhatIf) stress(p Plan, all []Advice) ([]Otherwise, error) {
	q, err := w.Apply(p)
	if err != nil {
		return nil, err
	}
	q = q.draw(w)
	near := q.Kinds[0].Hours.H
	if !slices.ContainsFunc(all, func(a Advice) bool { return !a.timeOff() }) { // no measure is tried that could matter later
		last := slices.MaxFunc(all, func(a, b Advice) int { return cmp.Compare(a.Until, b.Until) }).Until
		near = min(near, int(last.Monday()-q.From.Monday())/forecast.Week+1)
	}
	out, err := q.follow(near, 0, arriving)
	if err != nil {
		return nil, err
	}
	as := &adviser{Policy: q.policy(), whole: out}
	as.adopt(q, out)
	found := make([]Otherwise, len(all))
	for i, a := range all {
		found[i] = Otherwise{If: w.String(), Hours: a.Hours, DecideBy: a.DecideBy, Stands: a.timeOff() && as.bearable(a) == (a.Do == ApproveTimeOff)}
	}
	then, err := as.advise(func(do string) bool { return slices.ContainsFunc(all, func(a Advice) bool { return a.Do == do }) })
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(then, func(a, b Advice) int { return cmp.Compare(a.DecideBy, b.DecideBy) })
	for i, a := range all {
		k := slices.IndexFunc(then, func(b Advice) bool {
			return b.Do == a.Do && b.Kind == a.Kind && b.From <= a.Until+within && b.Until >= a.From-within
		})
		if k < 0 && !found[i].Stands && a.bringsHours() {
			if k := slices.IndexFunc(then, func(b Advice) bool {
				return b.Do != a.Do && b.bringsHours() && b.From <= a.Until+within && b.Until >= a.From-within
			}); k >= 0 {
				found[i].Instead = then[k].Do
			}
		}
		if k >= 0 {
			found[i].Stands, found[i].Hours, found[i].DecideBy = true, then[k].Hours, then[k].DecideBy
		}
	}
	return found, nil
}

// bringsHours tells whether the advice has more hours worked, here or elsewhere.
func (a Advice) bringsHours() bool {
	return a.Do == Hire || a.Do == Overtime || a.Do == OpenSaturday || a.Do == Subcontract
}

func (a Advice) timeOff() bool { return a.Do == ApproveTimeOff || a.Do == HoldTimeOff }

// bearable tells whether each week that time off is about can spare its share of
// the hours, or is short of them anyway, whoever is off.
func (a *adviser) bearable(off Advice) bool {
	weeks := a.runs(func(j int) bool { return a.out.Weeks[j].Monday <= off.Until && a.out.Weeks[j].Monday+6 >= off.From })
	for _, r := range weeks {
		for j := r.first; j <= r.last; j++ {
			h := off.Hours / float64(r.len())
			if !a.bears(j, h) || a.matters(a.whole.ChanceShort[j], a.chanceWithout(j, h), a.missingWithout(j, h)) {
				return false
			}
		}
	}
	return true
}

// within is how far apart two advices may lie and be the same still: 8 weeks.
const within = 56
