package report

import (
	"fmt"
	"math"

	"freshet/capacity"
	"freshet/forecast"
)

// thisWeek says what is coming now.
func (r *Report) thisWeek() string {
	if len(r.Weeks) == 0 && len(r.Failed) > 0 {
		return "There is no forecast this time: something went wrong."
	}
	if len(r.Weeks) == 0 {
		return "There is nothing on record yet: import the shop's drop-offs first."
	}
	w := r.ThisWeek
	s := fmt.Sprintf("Expect about %s this week (8 times out of 10, %s)", Count(w.DropOffs.Mean, "drop-off"), Range(w.DropOffs))
	if w.Hours.Known() {
		s += fmt.Sprintf(", which bring about %s hours of work", Whole(w.Hours.Mean))
	}
	return s + "."
}

// recent is how many weeks are set against the usual season in words.
const recent = 4

// season says how the last weeks compare with the usual.
func (r *Report) season() string {
	var actual, usual float64
	n := 0
	when, time := "The last four weeks", "this time of year"
	for i := len(r.Season) - 1; i >= 0 && n < recent; i-- {
		p := r.Season[i]
		if p.Actual == nil || p.Usual == nil {
			continue
		}
		actual += *p.Actual
		usual += *p.Usual
		n++
		if p.Monday < r.AsOf.Monday()-recent*forecast.Week {
			when, time = "The last four weeks on record", "that time of year"
		}
	}
	if n < recent || usual == 0 {
		return ""
	}
	change := 100 * (actual/usual - 1)
	brought := fmt.Sprintf("%s brought %s", when, Count(actual, "drop-off"))
	// A sum of counts is rough: within about one and a half standard
	// deviations, doubled for shops rougher than chance, it is as usual.
	if math.Abs(actual-usual) < 1.5*math.Sqrt(2*usual) {
		if math.Abs(change) > 10 {
			return fmt.Sprintf("%s where %s usually brings %s: chance alone often makes such a difference.", brought, time, Whole(usual))
		}
		return fmt.Sprintf("%s, about what %s usually brings (%s).", brought, time, Whole(usual))
	}
	word := "more"
	if change < 0 {
		word = "fewer"
	}
	return fmt.Sprintf("%s, %s %% %s than %s usually brings (%s).", brought, Whole(math.Abs(change)), word, time, Whole(usual))
}

// crew says whether the crew's hours meet the work: what waits now, where that
// goes, and when it is worst.
func (r *Report) crew() string {
	if len(r.Weeks) < 2 || r.Weeks[0].Crew == nil {
		return ""
	}
	worst, tight, likely := 0, -1, 0 // a closed week is never the tightest
	more := "more than the crew has hours"
	for i, w := range r.Weeks {
		if w.Short() {
			likely++
			if w.Crew.ShortOf != "" { // the crew as a whole has the hours
				more = "more work than there are hours for"
			}
		}
		if w.Crew.Backlog.P50 > r.Weeks[worst].Crew.Backlog.P50 {
			worst = i
		}
		if w.Crew.Available > 0 && (tight < 0 || w.Crew.ChanceShort > r.Weeks[tight].Crew.ChanceShort) {
			tight = i
		}
	}
	now, last, peak := r.Weeks[0], r.Weeks[len(r.Weeks)-1], r.Weeks[worst]
	front := func(w Week) string {
		return fmt.Sprintf("%s hours of work will be waiting and a new job takes about %s", Whole(w.Crew.Backlog.P50), Count(w.Crew.Turnaround.P50, "day"))
	}
	switch week := r.usualHours(); {
	case peak.Crew.Backlog.P50 > now.Crew.Backlog.P50+week/2:
		return fmt.Sprintf("Work outruns the crew: by the end of the week of %s about %s.", Day(peak.Monday), front(peak))
	case now.Crew.Backlog.P50 > week/2 && last.Crew.Backlog.P50 < now.Crew.Backlog.P50-week/4:
		for _, w := range r.Weeks {
			if w.Crew.Backlog.P50 < week/4 {
				last = w
				break
			}
		}
		return fmt.Sprintf("The crew catches up: about %s hours of work are waiting at the end of this week (a new job takes about %s), and about %s at the end of the week of %s.",
			Whole(now.Crew.Backlog.P50), Count(now.Crew.Turnaround.P50, "day"), Whole(last.Crew.Backlog.P50), Day(last.Monday))
	case now.Crew.Backlog.P50 > week/2:
		return fmt.Sprintf("The crew keeps pace and no more: about %s hours of work stay waiting (a new job takes about %s).", Whole(now.Crew.Backlog.P50), Count(now.Crew.Turnaround.P50, "day"))
	}
	if tight < 0 {
		return ""
	}
	w := r.Weeks[tight]
	kind, than := "", "the crew has hours"
	if w.Crew.ShortOf != "" {
		kind, than = ", "+w.Crew.ShortOf, "those who do it have hours ("+w.Crew.ShortOf+")"
	}
	if likely > 0 {
		return fmt.Sprintf("Little work should stay waiting over the next %d weeks; %s likely to bring %s, first of all the one of %s (a chance of %s %%%s).",
			len(r.Weeks), areWeeks(likely), more, Day(w.Monday), Whole(100*w.Crew.ChanceShort), kind)
	}
	return fmt.Sprintf("The crew's hours should meet the work for the next %d weeks; the tightest is the week of %s, with a chance of %s %% that more work comes in than %s.",
		len(r.Weeks), Day(w.Monday), Whole(100*w.Crew.ChanceShort), than)
}

func areWeeks(n int) string {
	if n == 1 {
		return "1 week is"
	}
	return fmt.Sprintf("%d weeks are", n)
}

// usualHours gives the crew's hours of a usual week: the most of any.
func (r *Report) usualHours() float64 {
	most := 0.0
	for _, w := range r.Weeks {
		if w.Crew != nil {
			most = max(most, w.Crew.Available)
		}
	}
	return most
}

// decide names the first decision; one on time off only where there is no
// other, as it moves least.
func (r *Report) decide() string {
	all := r.Decisions()
	if len(all) == 0 {
		return ""
	}
	first := all[0]
	for _, a := range all {
		if a.Do != capacity.HoldTimeOff {
			first = a
			break
		}
	}
	return fmt.Sprintf("Decide by %s: %s.", Day(first.DecideBy), lower(Title(first)))
}
