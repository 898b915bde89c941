package capacity

import (
	"fmt"
	"maps"
	"slices"

	"freshet/forecast"
)

// overtime advises hours beyond the usual for shortages short enough to stand
// them. The hours are the newsvendor's between regular and premium ones: an
// hour provided in vain costs 1, one too few costs the premium more than 1,
// so that at one and a half times the 1/3 quantile of what is missing is
// booked ahead, and the rest only once the work is in.
func (a *adviser) overtime() ([]Advice, error) {
	var all []Advice
	for _, r := range a.shortages() {
		if r.len() > a.OvertimeRun || a.OvertimePremium == 1 { // at no premium nothing is gained by booking ahead
			continue
		}
		h := Newsvendor(a.excess(r), a.OvertimePremium-1, 1)
		h = min(h, a.overtimeRoom(r))
		if h <= 0 || h < a.WorthHours {
			continue
		}
		from, until := a.from(r), a.until(r)
		plan, with, err := a.with(func(p *Plan) {
			days := p.Calendar.OpenDays(from, until+1) / p.Calendar.UsualDays() // in usual weeks
			p.extra = append(p.extra[:len(p.extra):len(p.extra)],
				Technician{Name: "overtime", WeeklyHours: h / days, Productivity: 1, From: from, Until: until}) // of everybody
		})
		if err != nil {
			return nil, err
		}
		left, still := median(a.out.Backlog, r.last), median(with.Backlog, r.last)
		if left-still < a.WorthHours/2 { // most of them would be booked in vain
			continue
		}
		paid := h / a.Crew.typical(from).Productivity
		cost := a.cost(paid, a.OvertimePremium)
		if pays, err := a.worth(a.Plan, plan, cost); err != nil {
			return nil, err
		} else if !pays {
			continue
		}
		all = append(all, Advice{Do: Overtime, From: from, Until: until, Hours: h,
			DecideBy: a.before(from, a.OvertimeAhead), Cost: cost,
			Why: fmt.Sprintf("More work is likely to be left than the crew can carry for %s from %s. "+
				"Book %s on jobs in overtime (%.1f paid hours a technician a week); hold more ready until the work is in. "+
				"If nothing is done, about %s are left to do at the end of the week of %s instead of %s.",
				plural(r.len(), "week"), dayName(from), hours(h), paid/float64(len(a.Crew)*r.len()),
				hours(left), dayName(a.out.Weeks[r.last].Monday), hours(still))})
		a.adopt(plan, with)
	}
	return all, nil
}

// excess gives the distribution of the hours missing in a run: the greatest
// backlog at a week's end less what the shop is content to carry.
func (a *adviser) excess(r run) forecast.Empirical {
	missing := make([]float64, a.ahead.N())
	for i := range missing {
		b, w := a.out.Backlog.Path(i), a.ahead.Path(i)
		for j := r.first; j <= r.last; j++ {
			if w[j] > a.CarryWeeks {
				missing[i] = max(missing[i], b[j]*(1-a.CarryWeeks/w[j]))
			}
		}
	}
	return forecast.NewEmpirical(missing)
}

// overtimeRoom gives the hours on jobs that the crew can add in a run without
// anybody passing the cap. The room of a technician who is in for part of the
// run is that part of it.
func (a *adviser) overtimeRoom(r run) float64 {
	room := 0.0
	for i, t := range a.Crew {
		if t.WeeklyHours >= a.OvertimeHours {
			continue
		}
		for j := r.first; j <= r.last; j++ {
			room += a.out.Weeks[j].ByTechnician[i] * (a.OvertimeHours/t.WeeklyHours - 1)
		}
	}
	return room
}

// saturdays gives open Saturdays, with part of the crew in turn, for shortages
// too long for overtime; nil if they don't help.
func (a *adviser) saturdays() (*option, error) {
	var o *option
	for _, r := range a.shortages() {
		if r.len() < a.SaturdayRun {
			continue
		}
		first := max(a.from(r), a.From+forecast.Date(7*a.SaturdayAhead))
		days := a.Calendar.saturdays(first, a.until(r)+1, a.SaturdayCrew)
		if len(days) == 0 {
			continue
		}
		plan, with, err := a.with(func(p *Plan) {
			if o != nil {
				*p = o.plan
			}
			p.Calendar = p.Calendar.with(days)
		})
		if err != nil {
			return nil, err
		}
		before, without := a.Plan, a.out
		if o != nil {
			before, without = o.plan, o.out
		}
		var h, paid float64
		for j, w := range with.Weeks {
			h += w.Available - without.Weeks[j].Available
			paid += w.Paid - without.Weeks[j].Paid
		}
		// What is left at the shortage's end, as the peak may lie before the
		// first Saturday that can be opened.
		left, still := without.Backlog.Dist(r.last).Quantile(a.PlanAt), with.Backlog.Dist(r.last).Quantile(a.PlanAt)
		cost := a.cost(paid, a.OvertimePremium)
		if h <= 0 || h < a.WorthHours || left-still < a.WorthHours {
			continue
		}
		if pays, err := a.worth(before, plan, cost); err != nil {
			return nil, err
		} else if !pays {
			continue
		}
		if o == nil {
			o = &option{}
		}
		o.plan, o.out = plan, with
		opened := slices.Sorted(maps.Keys(days))
		o.advice = append(o.advice, Advice{Do: OpenSaturday, From: opened[0], Until: opened[len(opened)-1], Hours: h,
			DecideBy: a.before(opened[0], a.SaturdayAhead), Cost: cost,
			Why: fmt.Sprintf("More work is likely to be left than the crew can carry for %s from %s, too long for overtime alone. "+
				"Opening %s from %s with %s of the crew in turn adds %s on jobs; the backlog at the end of the week of %s is then %s or less, %s. "+
				"If nothing is done, it is up to %s.",
				plural(r.len(), "week"), dayName(a.from(r)), plural(len(days), "Saturday"), dayName(opened[0]), percent(a.SaturdayCrew), hours(h),
				dayName(a.out.Weeks[r.last].Monday), hours(still), a.odds(), hours(left))})
	}
	return o, nil
}
