// Package report says in words and tables what a week's run found, for the
// owner who reads it on Monday.
//
// A Report is a plain value in which everything is already computed: the
// packages below this one only render it. Nothing here does I/O, reads a
// clock, or asks a database, so that the same Facts always give the same
// Report.
//
// To use it: fill Facts, Build, and hand the Report to a renderer.
package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
)

// Facts is what a run found.
type Facts struct {
	Shop      string         `json:"shop"`
	Demo      bool           `json:"demo"` // an invented shop
	AsOf      forecast.Date  `json:"as_of"`
	DataUntil *forecast.Date `json:"data_until"` // last day with a record
	Seed      uint64         `json:"seed"`
	Version   string         `json:"version"`
	ThisWeek  Week           `json:"this_week"` // the whole week of AsOf, what came in already included
	Weeks     []Week         `json:"weeks"`     // from the week of AsOf on; the first holds only what is left of it
	Season    []Point        `json:"season"`    // weeks around AsOf against the usual
	Kinds     []Kind         `json:"kinds"`
	Alerts    []Alert        `json:"alerts"`      // what doesn't fit, the most unlikely first, faults of the records before it; then what was explained, and what was seen
	Timing    string         `json:"season_says"` // the season's state in a sentence; empty if it isn't known
	Advice    []Advice       `json:"advice"`
	Accuracy  *Accuracy      `json:"accuracy"` // nil where the history is too short
	Model     string         `json:"model"`
	Hours     string         `json:"hours"` // where job hours come from
	Warnings  []string       `json:"warnings"`
	Failed    []string       `json:"failed,omitempty"` // parts of the week's work that went wrong, a sentence each
	Quotes    *QuotesDue     `json:"quotes,omitempty"` // last week's quotes against what came; nil where none fell due
}

// Week is one week ahead. Crew is nil where no crew is known.
type Week struct {
	Monday   forecast.Date   `json:"week"`
	Rest     bool            `json:"rest"` // part of the week is over
	DropOffs forecast.Spread `json:"drop_offs"`
	Hours    forecast.Spread `json:"hours"`
	Crew     *CrewWeek       `json:"crew"`
}

// Closed says that the crew has no hours in the week.
func (w Week) Closed() bool { return w.Crew != nil && w.Crew.Available == 0 }

// AnyShort says that in some week more work than hours is likely.
func (r Report) AnyShort() bool {
	for _, w := range r.Weeks {
		if w.Short() {
			return true
		}
	}
	return false
}

// Short says that more work than hours is likely.
func (w Week) Short() bool { return w.Crew != nil && !w.Closed() && w.Crew.ChanceShort >= .5 }

// CrewWeek is the crew's side of a week.
type CrewWeek struct {
	Available   float64         `json:"available_hours"`
	Backlog     forecast.Spread `json:"backlog_hours"` // at the week's end
	Turnaround  forecast.Spread `json:"turnaround_days"`
	ChanceShort float64         `json:"chance_short"`
	ShortOf     string          `json:"short_of,omitempty"` // the kinds that make it so, where the crew as a whole has the hours
}

// Point is one week of the season's picture. Actual is nil for weeks to come
// and weeks without records, Expected unknown for past ones.
type Point struct {
	Monday   forecast.Date   `json:"week"`
	Actual   *float64        `json:"actual"`
	Usual    *float64        `json:"usual"`
	Expected forecast.Spread `json:"expected"`
}

// Kind is one job kind: what came in the last four weeks and what is expected
// in the next four, in all.
type Kind struct {
	Name         string          `json:"kind"`
	LastFour     float64         `json:"last_four"`
	UsualFour    *float64        `json:"usual_four"`
	NextFour     forecast.Spread `json:"next_four"`
	NextHours    forecast.Spread `json:"next_four_hours"`
	HoursPerJob  *float64        `json:"hours_per_job"`
	FinishedJobs int             `json:"finished_jobs"`
}

// Advice is one thing to decide.
type Advice struct {
	Do       string        `json:"do"`
	From     forecast.Date `json:"from"`
	Until    forecast.Date `json:"until"`
	DecideBy forecast.Date `json:"decide_by"`
	Hours    float64       `json:"hours"`
	Cost     *float64      `json:"cost"`
	Why      string        `json:"why"`

	Kind      string      `json:"kind,omitempty"`       // job kind that it is about; empty for all
	Who       string      `json:"who,omitempty"`        // whose time off it is about; empty for anybody's
	Offer     []string    `json:"offer,omitempty"`      // days that time off which is held had better be moved to, in words
	InsteadOf string      `json:"instead_of,omitempty"` // the advice that this one would replace: one of the two, not both
	Otherwise []Otherwise `json:"otherwise,omitempty"`  // how it stands in other futures
	Call      []string    `json:"call,omitempty"`       // whom to call, by repair order or unit
}

// Otherwise is how an advice stands if the future isn't the one expected.
type Otherwise struct {
	If       string        `json:"if"`
	Stands   bool          `json:"stands"`
	Hours    float64       `json:"hours"`
	DecideBy forecast.Date `json:"decide_by"`
}

// not says what becomes of an advice that doesn't stand.
func (a Advice) not() string {
	switch a.Do {
	case capacity.HoldTimeOff:
		return "it can be granted"
	case capacity.ApproveTimeOff:
		return "it is better refused"
	}
	return "it isn't advised"
}

// IfNot says in a sentence what changes an advice, empty where nothing is
// known.
func (a Advice) IfNot() string {
	var parts []string
	for _, o := range a.Otherwise {
		switch {
		case !o.Stands:
			parts = append(parts, "with "+o.If+" "+a.not())
		case o.DecideBy != a.DecideBy:
			parts = append(parts, fmt.Sprintf("with %s decide by %s (%s hours)", o.If, Day(o.DecideBy), Whole(o.Hours)))
		default:
			parts = append(parts, fmt.Sprintf("with %s it stands (%s hours)", o.If, Whole(o.Hours)))
		}
	}
	if parts == nil {
		return ""
	}
	s := strings.Join(parts, "; ")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// Accuracy is how the forecast of drop-offs would have done on the shop's own
// past, beside the simple rule: the same week last year.
type Accuracy struct {
	Origins    int     `json:"origins"`
	WeeksAhead int     `json:"weeks_ahead"`
	WAPE       float64 `json:"wape"`
	RuleWAPE   float64 `json:"rule_wape"`
	Coverage80 float64 `json:"coverage80"`
}

// Report is the facts with the words that a person reads first.
type Report struct {
	Facts
	Headline []string `json:"headline"`
	Cautions []string `json:"cautions"`
}

// Build writes the words.
func Build(f Facts) Report {
	r := Report{Facts: f}
	all := []string{r.thisWeek(), r.season(), r.odd(), r.crew(), r.decide()}
	r.Headline = slices.DeleteFunc(all, func(s string) bool { return s == "" })
	r.Cautions = r.cautions()
	return r
}

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
	for i, w := range r.Weeks {
		if w.Short() {
			likely++
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
	if likely > 0 {
		return fmt.Sprintf("Little work should stay waiting over the next %d weeks; %s likely to bring more than the crew has hours, first of all the one of %s (a chance of %s %%).",
			len(r.Weeks), areWeeks(likely), Day(w.Monday), Whole(100*w.Crew.ChanceShort))
	}
	return fmt.Sprintf("The crew's hours should meet the work for the next %d weeks; the tightest is the week of %s, with a chance of %s %% that more work comes in than the crew has hours.",
		len(r.Weeks), Day(w.Monday), Whole(100*w.Crew.ChanceShort))
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

// Grants gives the advice that time off can be granted, Decisions the rest.
func (r Report) Grants() []Advice    { return r.advice(true) }
func (r Report) Decisions() []Advice { return r.advice(false) }

func (r Report) advice(grants bool) []Advice {
	var out []Advice
	for _, a := range r.Advice {
		if (a.Do == capacity.ApproveTimeOff) == grants {
			out = append(out, a)
		}
	}
	return out
}

// Title says what an advice is in a few words.
func Title(a Advice) string {
	if a.InsteadOf != "" {
		instead := a
		instead.InsteadOf = ""
		return "Or instead: " + lower(Title(instead))
	}
	from := Day(a.From)
	switch a.Do {
	case capacity.Hire:
		if a.From <= a.DecideBy {
			return "Look for one more technician now" // the day to begin has passed
		}
		return "Look for one more technician, at full speed by " + from
	case capacity.Overtime:
		return fmt.Sprintf("Plan %s hours of overtime from %s", Whole(a.Hours), from)
	case capacity.OpenSaturday:
		return fmt.Sprintf("Open on Saturdays from %s to %s", from, Day(a.Until))
	case capacity.MoveWork:
		return fmt.Sprintf("Move %s hours of work that can wait to %s", Whole(a.Hours), from)
	case capacity.ApproveTimeOff:
		if a.Who == "" {
			return fmt.Sprintf("Weeks that can spare someone: %s to %s", from, Day(a.Until))
		}
		return fmt.Sprintf("Time off of %s %s can be granted", a.Who, spell(a.From, a.Until))
	case capacity.HoldTimeOff:
		whose := "the"
		if a.Who != "" { // in reports kept by an older freshet
			whose = a.Who + "'s"
		}
		return fmt.Sprintf("Say no to %s time off %s, or move it", whose, spell(a.From, a.Until))
	case capacity.Subcontract:
		return fmt.Sprintf("Send out %s hours of %s from %s to %s", Whole(a.Hours), a.Kind, from, Day(a.Until))
	case capacity.FillLull:
		return fmt.Sprintf("Fill the lull from %s to %s", from, Day(a.Until))
	}
	return a.Do
}

// spell says from when to when, or on which day.
func spell(from, until forecast.Date) string {
	if from == until {
		return "on " + Day(from)
	}
	return fmt.Sprintf("from %s to %s", Day(from), Day(until))
}

func (r *Report) cautions() []string {
	var out []string
	add := func(s string) {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	for _, a := range r.Advice {
		switch a.Do {
		case capacity.Overtime, capacity.OpenSaturday:
			add(capacity.OvertimeCaution)
		case capacity.MoveWork, capacity.FillLull, capacity.Subcontract:
			add(capacity.SafetyCaution)
		}
	}
	for _, k := range r.Kinds {
		name := strings.ToLower(k.Name)
		switch {
		case strings.Contains(name, "cool"), strings.Contains(name, "air"), strings.Contains(name, "refriger"):
			add(capacity.RefrigerantCaution)
		case strings.Contains(name, "applian"), strings.Contains(name, "gas"), strings.Contains(name, "propane"), strings.Contains(name, "furnace"):
			add(capacity.GasCaution)
		}
	}
	return out
}

// Day writes a day as people do, such as "January 2". The year is left out, as
// a report looks a year ahead at most.
func Day(d forecast.Date) string { return d.Time().Format("January 2") }

// LongDay writes a day with its weekday and year.
func LongDay(d forecast.Date) string { return d.Time().Format("Monday, January 2, 2006") }

// WeekDay writes a day with its weekday, as one says it.
func WeekDay(d forecast.Date) string { return d.Time().Format("Monday, January 2") }

// WeekDayFrom writes a day with its weekday as one says it on another day: with
// the year where that is another one.
func WeekDayFrom(d, today forecast.Date) string {
	if d.Time().Year() != today.Time().Year() {
		return LongDay(d)
	}
	return WeekDay(d)
}

// DayFrom writes a day as one says it on another day: with the year where that
// is another one.
func DayFrom(d, today forecast.Date) string {
	if d.Time().Year() != today.Time().Year() {
		return d.Time().Format("January 2, 2006")
	}
	return Day(d)
}

// Whole writes a number without decimals, a half rounded away from zero,
// thousands apart; "not known" for what isn't finite.
func Whole(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	v = math.Round(v)
	s := fmt.Sprintf("%.0f", math.Abs(v))
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if v < 0 {
		s = "-" + s
	}
	return s
}

// Count writes a number with its unit, one or several.
func Count(v float64, unit string) string {
	if math.Round(v) == 1 {
		return "1 " + unit
	}
	return Whole(v) + " " + unit + "s"
}

// Range writes a spread's middle eight tenths.
func Range(s forecast.Spread) string {
	if !s.Known() {
		return "not known"
	}
	return Whole(s.P10) + " to " + Whole(s.P90)
}

func lower(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
