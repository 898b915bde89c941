package capacity

import (
	"fmt"
	"sort"

	"freshet/forecast"
)

// hire advises one technician more if the backlog is too likely to pass the
// owner's limit. Needed by is the last week's start from which a technician at
// full speed keeps the chance below what the owner puts up with; the day to
// post the job lies the ramp, the notice and the search before it.
func (a *adviser) hire() ([]Advice, error) {
	without := a.out.ChanceOver(a.LimitWeeks)
	if without < a.LimitChance || without == 0 {
		return nil, nil
	}
	// Chances rise the later the hire comes, so that bisection finds the week.
	var failed error
	late := sort.Search(len(a.out.Weeks), func(j int) bool {
		o, err := a.tryHire(a.out.Weeks[j].From)
		if err != nil {
			failed = err
			return true
		}
		return o.ChanceOver(a.LimitWeeks) >= a.LimitChance
	})
	if failed != nil {
		return nil, failed
	}
	r := run{max(0, late-1), len(a.out.Weeks) - 1}
	need := a.from(r)
	with, err := a.tryHire(need)
	if err != nil {
		return nil, err
	}
	chance := with.ChanceOver(a.LimitWeeks)
	if without-chance < worthHiring {
		return nil, nil // one more wouldn't change much
	}

	lead := a.RampWeeks + a.NoticeWeeks + a.FillWeeks
	post := need - forecast.Date(7*lead)
	advice := Advice{Do: Hire, From: need, Until: a.until(r), DecideBy: max(post, a.From)}
	weeks := 0.0 // usual ones, in which the hire is paid
	for j := r.first; j <= r.last; j++ {
		advice.Hours += with.Weeks[j].Available - a.out.Weeks[j].Available
		weeks += float64(with.Weeks[j].Monday+7-with.Weeks[j].From) / forecast.Week
	}
	if c := a.Crew.typical(need).Cost(weeks); c > 0 {
		advice.Cost = &c
	}

	why := fmt.Sprintf("One more technician at full speed by %s lowers the chance that the backlog passes %.2g weeks of work from %s to %s. ",
		dayName(need), a.LimitWeeks, percent(without), percent(chance))
	if late == 0 {
		why += "One alone isn't enough to make that unlikely. "
	}
	steps := fmt.Sprintf("%s to fill it, %d of notice and %d to full speed", plural(a.FillWeeks, "week"), a.NoticeWeeks, a.RampWeeks)
	if post >= a.From {
		why += fmt.Sprintf("Post the job by %s: %s. ", dayName(post), steps)
	} else {
		soonest := a.From + forecast.Date(7*lead)
		late, err := a.tryHire(soonest)
		if err != nil {
			return nil, err
		}
		why += fmt.Sprintf("The day to post the job, %s, has passed: with %s, a search begun today brings a hire by %s, ", dayName(post), steps, dayName(soonest))
		if c := late.ChanceOver(a.LimitWeeks); c < without {
			why += fmt.Sprintf("which still lowers it to %s. ", percent(c))
		} else {
			why += "too late for this rush. "
		}
		why += "Until then bridge with overtime, open Saturdays or work sent out. "
	}
	week, h := a.peak(a.out.Backlog)
	why += fmt.Sprintf("If nothing is done, about %s are left to do at the end of the week of %s, or fewer, %s.",
		hours(h), dayName(a.out.Weeks[week].Monday), a.odds())
	advice.Why = why
	return []Advice{advice}, nil
}

// worthHiring is the least fall of the chance of passing the limit for which a
// hire is advised.
const worthHiring = .1
