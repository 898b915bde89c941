package capacity

import (
	"fmt"
	"slices"
	"sort"

	"freshet/forecast"
)

// hire gives one technician more if the backlog is too likely to pass the
// owner's limit. Needed by is the last week's start by which a technician must
// be at full speed to keep that chance below what the owner puts up with; the
// day to post the job lies the ramp, the notice and the search before it. Where
// that day has passed, the hire is judged from the soonest day that a search
// begun today can bring. It gives nil if one more wouldn't change much or has no
// bay to work in.
func (a *adviser) hire() (*option, error) {
	without := a.out.ChanceOver(a.LimitWeeks)
	if without < a.LimitChance || without == 0 {
		return nil, nil
	}
	// Chances rise the later the hire comes, so that bisection finds the week.
	over := a.over(a.out.Line)
	late := sort.Search(len(a.out.Weeks), func(j int) bool {
		p := a.Plan
		a.hired(a.out.Weeks[j].From)(&p)
		return a.tooLong(p, a.out.Line, 0, over)
	})
	lead := a.RampWeeks + a.NoticeWeeks + a.FillWeeks
	need := a.out.Weeks[max(0, late-1)].From
	full := max(need, a.From+forecast.Date(7*lead)) // at full speed
	end := a.out.Weeks[len(a.out.Weeks)-1].Monday + 6
	if full > end {
		return nil, nil // beyond what the paths can judge
	}
	plan, with, err := a.with(a.hired(full))
	if err != nil {
		return nil, err
	}
	chance := with.ChanceOver(a.LimitWeeks)
	above, left := a.out.WeeksOver(a.LimitWeeks), with.WeeksOver(a.LimitWeeks)
	week, most := a.peak(a.out.Backlog)
	_, least := a.peak(with.Backlog)
	t := a.Crew.typical(full)
	advice := Advice{Do: Hire, From: full, Until: end, DecideBy: full - forecast.Date(7*lead)}
	who := fmt.Sprintf("Looking %s ahead, one more technician at full speed by %s ", plural(len(a.out.Weeks), "week"), dayName(full))
	switch {
	case without-chance >= worthHiring:
		advice.Why = who + fmt.Sprintf("lowers the chance that the backlog passes %.2g weeks of work from %s to %s. ", a.LimitWeeks, percent(without), percent(chance))
		if chance >= a.LimitChance {
			advice.Why += "One alone isn't enough to make that unlikely. "
		}
	case above-left >= worthWeeks:
		advice.Why = who + fmt.Sprintf("shortens the time with more than %.2g weeks of work in line from about %.0f weeks to %.0f. ", a.LimitWeeks, above, left)
	case most-least >= worthHours*t.WeeklyHours*t.Productivity:
		advice.Why = who + fmt.Sprintf("lowers the greatest line from about %s to %s or less, %s, which isn't enough by itself: more than one is needed, or less work. ",
			hours(most), hours(least), a.odds())
	default:
		return nil, nil
	}
	for j, w := range with.Weeks {
		advice.Hours += w.Available - a.out.Weeks[j].Available
	}
	if advice.Hours <= 0 {
		return nil, nil // where bays are the limit one more takes others' turns
	}
	start := max(a.From, full-forecast.Date(7*a.RampWeeks)) // the first day of work
	if c := t.Cost(float64(end+1-start) / forecast.Week); c > 0 {
		c += a.HireCost
		advice.Cost = &c
	}
	if pays, err := a.worth(a.Plan, plan, advice.Cost); err != nil || !pays {
		return nil, err
	}
	steps := fmt.Sprintf("%s to fill it, %d of notice and %d to full speed", plural(a.FillWeeks, "week"), a.NoticeWeeks, a.RampWeeks)
	if full == need {
		advice.Why += fmt.Sprintf("Post the job by %s: %s. ", dayName(advice.DecideBy), steps)
	} else {
		advice.Why += fmt.Sprintf("The best day to post it, %s, has passed: a search begun today needs %s, and until then overtime, open Saturdays or work sent out have to bridge. ",
			dayName(need-forecast.Date(7*lead)), steps)
	}
	advice.Why += fmt.Sprintf("If nothing is done, up to %s are left to do at the end of the week of %s, %s.",
		hours(most), dayName(a.out.Weeks[week].Monday), a.odds())
	if !a.weighs() {
		advice.Why += " Whether it pays depends on what waiting and lost work cost you: say that in the shop's settings, and it is weighed."
	}
	return &option{[]Advice{advice}, plan, with}, nil
}

// hired adds a typical technician who is at full speed from a day on, and
// whose hours grow in a straight line over the ramp before it.
func (a *adviser) hired(full forecast.Date) func(*Plan) {
	return func(p *Plan) {
		t := p.Crew.typical(full)
		t.Name = "the hire"
		t.From, t.Ramp = full-forecast.Date(7*a.RampWeeks), a.RampWeeks
		p.extra = append(slices.Clone(p.extra), t)
	}
}

// The least that makes a hire worth advising: a fall of the chance of passing
// the limit, weeks fewer above it in the mean, or weeks of the hire's hours off
// the greatest line. From memory, no source.
const (
	worthHiring = .1
	worthWeeks  = 1
	worthHours  = 4
)
