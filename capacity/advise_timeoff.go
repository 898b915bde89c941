package capacity

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"freshet/forecast"
)

// TimeOff gives Advise's word on the time off that is requested, and nothing
// else. o is the outcome of a plan with the same work, whoever is off in it. It
// returns the errors of Plan.Outcome.
func TimeOff(p Plan, o Outcome) ([]Advice, error) {
	if len(p.Requested) == 0 {
		return nil, nil
	}
	a, err := newAdviser(p, o.under(p))
	if err != nil {
		return nil, err
	}
	return a.timeOff()
}

// timeOff judges each absence asked for, or, if there is none, says which of
// the coming weeks can spare a technician.
func (a *adviser) timeOff() ([]Advice, error) {
	if len(a.Requested) == 0 {
		return a.spareWeeks(), nil
	}
	var all []Advice
	for _, req := range a.Requested {
		some, err := a.judge(req)
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return all, nil
}

// slightRise is the rise of a chance that makes no difference to anybody: our
// own rule.
const slightRise = .05

// matters tells whether too few hours are then likelier than the owner puts up
// with, and more so by the time off: by the chance or by the hours missing, which
// go on rising where the chance is near 1 already.
func (a *adviser) matters(before, now, missing float64) bool {
	return now > a.LimitChance && (now-before >= slightRise || missing >= a.WorthHours)
}

// judge holds an absence if in one of its weeks that makes hours too likely to
// be short, or the chance that the backlog passes the limit becomes one that
// the owner doesn't put up with. An absence outside the plan's weeks, or of
// hours that nobody works, gets no word.
func (a *adviser) judge(req Absence) ([]Advice, error) {
	plan := a.Plan
	plan.Absences = append(plan.Absences[:len(plan.Absences):len(plan.Absences)], req)
	off := a.whole.under(plan)
	short, chances := off.Short, off.ChanceShort
	taken, most, worst, held := 0.0, 0.0, -1, false
	for j, w := range off.Weeks {
		h := a.out.Weeks[j].Available - w.Available
		if h <= 0 {
			continue
		}
		taken += h
		most = max(most, h)
		hurts := a.matters(a.whole.ChanceShort[j], chances[j], short.Dist(j).Mean()-a.whole.Short.Dist(j).Mean())
		if worst < 0 || hurts && !held || hurts == held && chances[j] > chances[worst] {
			worst, held = j, hurts
		}
	}
	if worst < 0 {
		return nil, nil
	}
	without, now := a.whole.ChanceShort[worst], chances[worst]
	over := a.out.ChanceOver(a.LimitWeeks)
	crosses := over < a.LimitChance && a.tooLong(plan, a.out.Line, len(a.over(a.out.Line)), a.nearly(a.out.Line, taken))
	advice := Advice{Do: ApproveTimeOff, Who: req.Name, From: max(req.From, a.From), Until: req.Until, Hours: taken,
		DecideBy: a.before(req.From, a.TimeOffAhead)}
	said := fmt.Sprintf("With %s off the chance of too few hours in the week of %s is %s, against %s with everybody in", req.Name, dayName(off.Weeks[worst].Monday), percent(now), percent(without))
	if !held && !crosses {
		advice.Why = said + ": the crew can spare the time now, while a busier week may be asked for if nothing is said."
		if now > a.LimitChance {
			advice.Why = said + ": that time off makes next to no difference. What the week is short of is for other advice to mend, and a worse week may be asked for if nothing is said."
		}
		return []Advice{advice}, nil
	}
	if crosses {
		with, err := plan.outcome(lines)
		if err != nil {
			return nil, err
		}
		overNow := with.ChanceOver(a.LimitWeeks)
		said += fmt.Sprintf(", and the chance that the backlog passes %.2g weeks of work rises from %s to %s", a.LimitWeeks, percent(over), percent(overNow))
	}
	offer := "plan overtime or wait for a clearer outlook, as no other week of the plan can spare those hours"
	if advice.Offer = a.sparing(most, req); len(advice.Offer) > 0 {
		offer = "offer " + strings.Join(advice.Offer, " or ") + " instead, or plan overtime"
	}
	advice.Do, advice.Why = HoldTimeOff, fmt.Sprintf("%s: %s; if it is approved all the same, %s are missing in that week on average.", said, offer, hours(short.Dist(worst).Mean()))
	return []Advice{advice}, nil
}

// chanceWithout gives the chance that more hours arrive in week j than the
// crew has when so many are taken off.
func (a *adviser) chanceWithout(j int, off float64) float64 {
	left, short := a.whole.Weeks[j].Available-off, 0
	for i := range a.whole.Arriving.N() {
		if a.whole.Arriving.Path(i)[j] > left || a.whole.Short.Path(i)[j] > enough {
			short++
		}
	}
	return float64(short) / float64(a.whole.Arriving.N())
}

// spares tells whether week j can spare so many hours: they aren't then too
// likely to be short, and the backlog stays within the limit at PlanAt.
func (a *adviser) spares(j int, off float64) bool {
	return a.bears(j, off) && a.chanceWithout(j, off) <= a.LimitChance
}

// bears tells whether the backlog stays within the limit at PlanAt with so many
// hours fewer in week j.
func (a *adviser) bears(j int, off float64) bool {
	w := a.out.Weeks[j]
	return w.Available > off && a.weeks.Dists[j].Quantile(a.PlanAt)+off/w.Available <= a.LimitWeeks
}

// missingWithout gives the hours that are missing in week j on average when so
// many are taken off, beyond those that are missing anyway.
func (a *adviser) missingWithout(j int, off float64) float64 {
	left, sum := a.whole.Weeks[j].Available-off, 0.0
	for i := range a.whole.Arriving.N() {
		short := a.whole.Short.Path(i)[j]
		sum += max(short, a.whole.Arriving.Path(i)[j]-left) - short
	}
	return sum / float64(a.whole.Arriving.N())
}

// sparing names the two stretches of whole weeks nearest to an absence, in
// order, that can spare so many hours; the absence's own weeks aren't among
// them.
func (a *adviser) sparing(off float64, req Absence) []string {
	stretches := a.runs(func(j int) bool {
		w := a.out.Weeks[j]
		return (w.Monday > req.Until || w.Monday+6 < req.From) && w.From == w.Monday && a.spares(j, off)
	})
	away := func(r run) forecast.Date { return max(a.from(r)-req.Until, req.From-a.until(r)) }
	slices.SortStableFunc(stretches, func(r, s run) int { return cmp.Compare(away(r), away(s)) })
	stretches = stretches[:min(2, len(stretches))]
	slices.SortFunc(stretches, func(r, s run) int { return r.first - s.first })
	names := make([]string, len(stretches))
	for i, r := range stretches {
		names[i] = daysName(a.from(r), a.until(r))
	}
	return names
}

// spareWeeks gives the longest stretch of weeks, not sooner than time off is
// settled, that can spare a typical technician.
func (a *adviser) spareWeeks() []Advice {
	var best run
	found := false
	for _, r := range a.runs(func(j int) bool {
		return j >= a.TimeOffAhead && a.spares(j, a.usualHours(j))
	}) {
		if !found || r.len() > best.len() {
			best, found = r, true
		}
	}
	if !found {
		return nil
	}
	from, worst := a.from(best), 0.0
	for j := best.first; j <= best.last; j++ {
		worst = max(worst, a.chanceWithout(j, a.usualHours(j)))
	}
	return []Advice{{Do: ApproveTimeOff, From: from, Until: a.until(best), Hours: a.usualHours(best.first) * float64(best.len()),
		DecideBy: a.before(from, a.TimeOffAhead),
		Why: fmt.Sprintf("From %s one technician can be spared, with a chance of too few hours of %s or less, while time off is asked for in busier weeks if nothing is said.",
			daysName(from, a.until(best)), percent(max(.01, worst)))}}
}

// usualHours gives the hours on jobs of a typical technician in week j.
func (a *adviser) usualHours(j int) float64 {
	w := a.out.Weeks[j]
	t := a.Crew.typical(w.Monday)
	return t.WeeklyHours * t.Productivity * w.OpenDays / a.Calendar.UsualDays()
}
