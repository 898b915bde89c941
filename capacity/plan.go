package capacity

import (
	"fmt"

	"freshet/forecast"
)

// Plan is all that the shop's coming weeks follow from.
type Plan struct {
	From      forecast.Date  // today: the first day that counts
	Calendar  Calendar       // when the shop is open
	Crew      Crew           // who works
	Absences  []Absence      // time off that stands
	Requested []Absence      // time off asked for, on which Advise has a word; it isn't counted
	Load      Load           // open work
	Released  []float64      // hours of waiting work that become ready in each week, see Backlog
	Arriving  forecast.Paths // joint futures of hours that new jobs bring each week, from From.Monday() on
	Kinds     []Demand       // the same work by job kind, where skills matter; may be nil
	Policy    Policy         // what the owner puts up with; the zero Policy stands for DefaultPolicy

	extra Crew // what-if hands, whose hours may be negative
}

// Check reports what makes the plan unusable.
func (p Plan) Check() error {
	if err := p.Calendar.Check(); err != nil {
		return err
	}
	if err := p.Crew.Check(); err != nil {
		return err
	}
	for _, a := range append(p.Absences[:len(p.Absences):len(p.Absences)], p.Requested...) {
		if a.Until < a.From {
			return fmt.Errorf("capacity: need time off of %s to end on %v or later, have %v", a.Name, a.From, a.Until)
		}
	}
	return p.policy().check()
}

// Weeks gives n weeks of the crew's hours from the plan's first day on. The
// plan must pass Check; it panics if n < 1.
func (p Plan) Weeks(n int) []Week {
	return append(p.Crew[:len(p.Crew):len(p.Crew)], p.extra...).Hours(p.Calendar, p.Absences, p.From, n)
}

// Outcome follows the plan's work through its weeks. It returns the error of
// Check or Backlog.
func (p Plan) Outcome() (Outcome, error) {
	if err := p.Check(); err != nil {
		return Outcome{}, err
	}
	return p.outcome()
}

// workOff is how many weeks of the crew's hours are known beyond the paths, to
// work off what is left at their end.
const workOff = 8

func (p Plan) outcome() (Outcome, error) {
	return Backlog(p.Load, p.Arriving, p.Weeks(max(0, p.Arriving.H)+workOff), p.Released)
}

// Warnings gives doubts about the plan that don't prevent an answer: hours
// that nobody should be planned for, and time off of people not in the crew.
func (p Plan) Warnings() []error {
	var out []error
	known := map[string]bool{}
	for _, t := range p.Crew {
		known[t.Name] = true
		if warn := p.policy().WarnHours; t.WeeklyHours > warn {
			out = append(out, fmt.Errorf("capacity: %s is planned for %.4g hours a week, more than %.4g", t.Name, t.WeeklyHours, warn))
		}
	}
	for _, a := range append(p.Absences[:len(p.Absences):len(p.Absences)], p.Requested...) {
		if !known[a.Name] {
			out = append(out, fmt.Errorf("capacity: time off of %s from %v isn't counted, as nobody in the crew has that name", a.Name, a.From))
		}
	}
	for _, d := range p.Kinds {
		if len(p.Crew.names(d.Kind)) == 0 {
			out = append(out, fmt.Errorf("capacity: nobody in the crew has %s among the skills; its hours are counted as if everybody could do it", d.Kind))
		}
	}
	if p.Load.Overrun > 0 {
		out = append(out, fmt.Errorf("capacity: %d open jobs have been worked past their expected hours, and what is left of them isn't counted", p.Load.Overrun))
	}
	return out
}

func (p Plan) policy() Policy {
	if p.Policy == (Policy{}) {
		return DefaultPolicy()
	}
	return p.Policy
}
