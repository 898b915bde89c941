package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// day writes a day as one says it on the day of the question.
func (q Quote) day(d forecast.Date) string { return report.WeekDayFrom(d, q.AsOf) }

// MadeOf says in plain words what the days from drop-off to the 80 % date are
// made of.
func (q Quote) MadeOf() (out []Because) {
	words := map[string]string{"queue": "waiting in line", "labor": "the work itself", "parts": "waiting for its part", "closed days": "closed days", "growth": "work found once it is opened"}
	if q.of("parts") > 0 {
		words["closed days"] = "closed days after its part is there"
	}
	for _, b := range q.Because {
		if b.Days > 0 {
			out = append(out, Because{words[b.What], b.Days})
		}
	}
	return out
}

// of gives the days for one part.
func (q Quote) of(what string) float64 {
	for _, b := range q.Because {
		if b.What == what {
			return b.Days
		}
	}
	return 0
}

// Best says when to bring the rig in, and what that saves.
func (q Quote) Best() string {
	switch {
	case q.LotSaved == 0 && q.later:
		return "Best day to bring it in: today. On a later day it would be ready later: a part that it needs is ordered once it has been seen."
	case q.LotSaved == 0:
		return "Best day to bring it in: today. On a later day it would be ready later."
	case q.BringIn == q.opens:
		return fmt.Sprintf("Best day to bring it in: %s. Nobody can begin sooner, and it stands on the lot for %s less.", q.day(q.BringIn), report.Count(float64(q.LotSaved), "day"))
	}
	return fmt.Sprintf("Best day to bring it in: %s, if its place in line is kept from today. It is ready as soon as if it came today, and stands on the lot for %s less.", q.day(q.BringIn), report.Count(float64(q.LotSaved), "day"))
}

// worthWaiting is the days at home from which on they are worth a word to the
// customer.
const worthWaiting = 3

// Record says how quotes like it would have turned out; nothing where none
// could be tried.
func (q Quote) Record() string {
	if q.Kept80 == nil {
		return ""
	}
	such := "Such a date was"
	if q.partKnown {
		such = "An 8 in 10 date given before anything is known of the part was"
	}
	s := fmt.Sprintf("%s tried on %d jobs of the past year, of all kinds: %.0f %% were ready by it.", such, q.Tried, 100**q.Kept80)
	switch {
	case q.KeptKind != nil:
		s += fmt.Sprintf(" %d of them were %s: %.0f %%.", q.TriedKind, q.Kind, 100**q.KeptKind)
	case q.TriedKind == 0:
		s += fmt.Sprintf(" None of them was %s, so that nothing is known of that kind by itself.", q.Kind)
	default:
		s += fmt.Sprintf(" Only %d of them %s %s, too few to tell of that kind by itself.", q.TriedKind, was(q.TriedKind), q.Kind)
	}
	return s
}

func was(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

// hoursFrom says what a kind's usual hours are from.
func (c *Counter) hoursFrom(kind int) string {
	n := 0
	for _, v := range c.visits {
		if v.kind == kind && v.in >= c.asOf-habitDays && v.ready != 0 && v.took() > 0 {
			n++
		}
	}
	jobs := report.Count(float64(n), "finished job")
	switch {
	case n >= fewOfAKind:
		return "the mean of " + jobs + " of this kind in two years"
	case n > 0:
		return "from " + jobs + " of this kind in two years, which are few, and a little from all others"
	}
	return "from jobs of all kinds, since none of this kind was finished in two years"
}

// why says what a service writer wants to know of the dates.
func (l *look) why(q Quote, asked Inquiry, p possible) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch begins := l.calendar.NextOpen(q.DropOff); {
	case begins == q.DropOff:
	case q.DropOff == q.AsOf && l.c.calendar.OpenShare(q.AsOf) > 0:
		say("Today's work is over: nobody begins on it before %s.", q.day(begins))
	default:
		say("The shop is closed on %s: nobody begins on it before %s.", q.day(q.DropOff), q.day(begins))
	}
	a := l.habits.Ahead(l.floor, l.c.crewOn(l.c.asOf), l.open, l.q)
	out = append(out, l.line(q, asked, a)...)
	if sooner := l.by(p, .5) - q.Ready.P50; sooner >= worthWaiting {
		say("Half of last year's jobs were ready sooner than their place in line would have it, so that the 5 in 10 date is %s earlier.", report.Count(float64(sooner), "day"))
	}
	days := float64(q.Ready.P80 - q.DropOff)
	mostly := q.of("parts") >= days/2 && days >= worthWaiting
	known := l.q.PartsDays >= 0
	switch {
	case mostly && known:
		say("Most of the wait is for its part, which comes in %s. If that comes later, so does the date.", report.Count(l.q.PartsDays, "day"))
	case mostly:
		say("Most of the days to the 8 in 10 date are a wait for a part: %s. Ask again once it is known whether it needs one.", l.part())
	}
	if jump := q.Ready.P90 - q.Ready.P80; jump >= longJump && !q.Beyond && !known {
		if at := because(p.stays, int(q.DropOff-q.AsOf), int(q.Ready.P90-q.AsOf)); (Quote{Because: at}).of("parts") >= float64(q.Ready.P90-q.DropOff)/2 {
			why := "parts that take longest"
			if !mostly {
				why = "jobs that need a part: " + l.part()
			}
			if off := l.off(a, q.Ready.P80+1, q.Ready.P90); off != "" {
				why = "the days on which " + off + " off, and for " + why
			}
			say("The %s between 8 and 9 in 10 are for %s.", report.Count(float64(jump), "day"), why)
		}
	}
	return append(out, l.c.took(l.q.Kind)...)
}

// took says how long finished jobs of the kind took in the last year, for whoever
// knows of one that went faster; nothing where there were few.
func (c *Counter) took(kind int) []string {
	var days []int
	for _, v := range c.visits {
		if v.kind == kind && v.ready != 0 && v.ready >= c.asOf-365 {
			days = append(days, int(v.ready-v.in))
		}
	}
	if len(days) < fewOfAKind {
		return nil
	}
	slices.Sort(days)
	within := func(level float64) string { return report.Count(float64(stayAt(days, level)), "day") }
	return []string{fmt.Sprintf("The %d jobs of this kind that were finished within a year: 1 in 10 took %s or less, half %s or less, 8 in 10 %s or less.", len(days), within(.1), within(.5), within(.8))}
}

// off says who of the few that do the work is off on some of the days, both ends
// included; nothing if nobody is.
func (l *look) off(a capacity.Ahead, from, until forecast.Date) string {
	if len(a.People) > fewPeople {
		return ""
	}
	var who []string
	for _, name := range a.People {
		if len(capacity.Away(l.c.absences, name, from, until)) > 0 {
			who = append(who, name)
		}
	}
	if len(who) == 0 {
		return ""
	}
	return names(who) + " " + be(len(who))
}

// longJump is the days between two dates from which on they want a word.
const longJump = 10

// part says how often such a job needs a part, and how long that takes.
func (l *look) part() string {
	return fmt.Sprintf("about %.0f in 100 such jobs need one, and half of those wait %s or longer", 100*l.habits.Needs[l.q.Kind],
		report.Count(stat.Quantile(.5, stat.Empirical, l.habits.Wait[l.q.Kind], nil), "day"))
}

// fewPeople is how many who do the work can be named.
const fewPeople = 2

// line says who does the work, what is ahead of it, and when they are off.
func (l *look) line(q Quote, asked Inquiry, a capacity.Ahead) (out []string) {
	ahead := "nothing that can be worked on is ahead of it"
	if a.Jobs > 0 {
		ahead = fmt.Sprintf("%s, about %.0f h, %s ahead of it", report.Count(float64(a.Jobs), "job"), max(1, a.Hours), be(a.Jobs))
	}
	switch n := len(a.People); {
	case n == 0 || n > fewPeople:
		out = append(out, upper(ahead)+".")
	default:
		s := fmt.Sprintf("Only %s %s this work: %s", names(a.People), map[bool]string{true: "does", false: "do"}[n == 1], ahead)
		switch {
		case a.Jobs == 0 || a.Hours-a.Kin < 1:
		case a.Kin < 1:
			s += ", which others can do too"
		default:
			s += fmt.Sprintf(" (others can do %.0f h of that too)", a.Hours-a.Kin)
		}
		for _, name := range a.People {
			for _, off := range capacity.Away(l.c.absences, name, q.DropOff, q.Ready.P90) {
				s += fmt.Sprintf(", and %s is off %s", name, span(off, q.AsOf))
			}
		}
		out = append(out, s+".")
	}
	var passed []string
	for _, x := range []struct {
		n    int
		what [2]string
	}{{a.Waiting, [2]string{"waits for a part or a word and goes ahead of it once that has come", "wait for a part or a word and go ahead of it once that has come"}},
		{a.Others, [2]string{"is for others of the crew", "are for others of the crew"}}, {a.Behind, [2]string{"stands behind it", "stand behind it"}}} {
		if x.n > 0 {
			passed = append(passed, fmt.Sprintf("%d %s", x.n, x.what[min(1, x.n-1)]))
		}
	}
	if len(passed) > 0 {
		out = append(out, fmt.Sprintf("Of the other jobs in the shop %s.", strings.Join(passed, ", ")))
	}
	if more := floats.Sum(l.habits.Rate) * float64(q.DropOff-q.AsOf); more >= 1 && !asked.Held {
		out = append(out, fmt.Sprintf("That is as of today: about %.0f more jobs come before it is here.", more))
	}
	return out
}

func be(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func names(of []string) string {
	if n := len(of); n > 1 {
		return strings.Join(of[:n-1], ", ") + " and " + of[n-1]
	}
	return of[0]
}

// span writes time off as people do: December 21 to 31.
func span(a capacity.Absence, today forecast.Date) string {
	from, until := report.DayFrom(a.From, today), report.DayFrom(a.Until, today)
	f, u := a.From.Time(), a.Until.Time()
	switch {
	case a.From == a.Until:
		return from
	case f.Month() == u.Month() && f.Year() == u.Year():
		return fmt.Sprintf("%s to %s", f.Format("January 2"), strings.TrimPrefix(until, u.Format("January ")))
	}
	return from + " to " + until
}

// sentence is what the service writer can read out.
func (q Quote) sentence(asked Inquiry) string {
	words := map[string]string{"queue": "jobs that are ahead of yours", "labor": "the work itself", "parts": "parts that may have to be ordered", "closed days": "days on which we are closed", "growth": "work that often turns up once a job is opened"}
	if asked.PartsDays > 0 {
		words["parts"] = "a part that has to come first"
	}
	reasons := slices.Clone(q.Because)
	slices.SortStableFunc(reasons, func(a, b Because) int { return cmp.Compare(b.Days, a.Days) })
	var most []string
	for _, r := range reasons {
		if r.Days >= 1 && len(most) < 2 {
			most = append(most, words[r.What])
		}
	}
	s := "We expect"
	if q.DropOff > q.AsOf {
		s = fmt.Sprintf("If you bring it in on %s, we expect", q.day(q.DropOff))
	}
	s += fmt.Sprintf(" to have it ready by %s; in 8 cases out of 10 it is.", q.day(q.Ready.P80))
	if len(most) > 0 {
		s += " Most of that time is for " + strings.Join(most, " and ") + "."
	}
	switch {
	case q.Ready.P50 == q.Ready.P80:
	case q.Ready.P50 == q.AsOf:
		s += " It may even be ready today."
	default:
		s += fmt.Sprintf(" It may well be ready by %s.", q.day(q.Ready.P50))
	}
	if q.DropOff == q.AsOf && !asked.Emergency && !capacity.SafetyCritical(q.Kind) && q.LotSaved >= worthWaiting {
		if q.BringIn > q.opens {
			s += " We can keep your place in line from today. Then you"
		} else {
			s += " You"
		}
		s += fmt.Sprintf(" can leave it at home until %s and lose no time.", q.day(q.BringIn))
	}
	return s
}
