package capacity

import (
	"errors"
	"fmt"
	"math"

	"freshet/forecast"
)

// Plan is all that the shop's coming weeks follow from.
type Plan struct {
	From      forecast.Date // today: the first day that counts
	Calendar  Calendar      // when the shop is open
	Crew      Crew          // who works
	Absences  []Absence     // time off that stands
	Requested []Absence     // time off asked for, on which Advise has a word; it isn't counted
	Open      []OpenJob     // work in the shop
	Kinds     []Demand      // joint futures of the work to come, by job kind
	Habits    Habits        // of jobs, by kind in the same order; its Rate isn't read
	Lot       Lot           // where rigs stand
	Policy    Policy        // what the owner puts up with; the zero Policy stands for DefaultPolicy
	Seed      uint64        // of what the paths leave open: days, hours of single jobs, waits for parts
	Near      int           // weeks that Outcome works off, from the first on; 0 stands for all of the paths'

	extra  Crew         // what-if hands, see newFloor
	drawn  *futures     // where the jobs have been drawn beforehand; who changes the work takes it away
	shared *sharedDraws // see SharingDraws; nil: it draws for itself
}

// Demand is the work of one job kind to come, path by path and week by week
// from Plan.From.Monday() on; in the first week what is still to come. A return
// of a finished job is a drop-off like any other, so that shops' own rates hold
// their comebacks.
type Demand struct {
	Kind  string         // empty: anybody may do it
	Jobs  forecast.Paths // drop-offs; a part of one stands for the chance of one
	Hours forecast.Paths // that they bring
}

// Lot is the rigs that stand in the shop.
type Lot struct {
	Rigs  float64 // a job: below 1 where an order has several jobs; 0 stands for 1
	Ready int     // jobs that are ready, whose rigs haven't been picked up
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
			return fmt.Errorf("capacity: need time off of %s to end on %s or later, have %s", a.Name, longDay(a.From), longDay(a.Until))
		}
	}
	if !(p.Lot.Rigs >= 0 && p.Lot.Rigs <= 1) || p.Lot.Ready < 0 {
		return fmt.Errorf("capacity: need 0 to 1 rigs a job and 0 or more of them ready, have %v and %d", p.Lot.Rigs, p.Lot.Ready)
	}
	if err := p.checkWork(); err != nil {
		return err
	}
	return p.policy().check()
}

func (p Plan) checkWork() error {
	if len(p.Kinds) == 0 || p.Kinds[0].Hours.H < 1 || len(p.Kinds[0].Hours.Values) == 0 {
		return errors.New("capacity: need at least 1 job kind with 1 path of hours, have 0")
	}
	monday, like := p.From.Monday(), p.Kinds[0].Hours
	for _, d := range p.Kinds {
		for _, paths := range []forecast.Paths{d.Hours, d.Jobs} {
			if paths.Step != forecast.Week || paths.Start != monday || paths.H != like.H || len(paths.Values) != len(like.Values) {
				return fmt.Errorf("capacity: need %d paths of %d steps of 7 days from %v for %s, have %d values in %d steps of %d from %v",
					like.N(), like.H, monday, d.Kind, len(paths.Values), paths.H, paths.Step, paths.Start)
			}
			for k, v := range paths.Values {
				if !(v >= 0 && v <= math.MaxFloat64) {
					return fmt.Errorf("capacity: need hours and jobs of 0 or more, have %v of %s in week %d of path %d", v, d.Kind, k%paths.H+1, k/paths.H+1)
				}
			}
		}
	}
	for _, j := range p.Open {
		if !(j.Quoted >= 0 && j.Worked >= 0) || math.IsInf(j.Quoted+j.Worked, 0) {
			return fmt.Errorf("capacity: need hours of 0 or more for the job dropped off on %s, have %v quoted and %v worked", longDay(j.DroppedOff), j.Quoted, j.Worked)
		}
		if j.Kind < 0 || j.Kind >= len(p.Kinds) {
			return fmt.Errorf("capacity: need one of %d kinds for the job dropped off on %s, have number %d", len(p.Kinds), longDay(j.DroppedOff), j.Kind)
		}
		if j.DroppedOff > p.From {
			return fmt.Errorf("capacity: need open jobs to be dropped off by %s, have one of %s", longDay(p.From), longDay(j.DroppedOff))
		}
	}
	if p.Near < 0 || p.Near > like.H {
		return fmt.Errorf("capacity: need 0 to %d weeks to be worked off, have %d", like.H, p.Near)
	}
	n := len(p.Kinds)
	h := p.Habits
	if len(h.Hours) != n || len(h.Growth) != n || len(h.Wait) != n || len(h.Needs) != n || len(h.Rush) != n || len(h.Later) != n || h.Lean != nil && len(h.Lean) != n {
		return fmt.Errorf("capacity: need habits of %d kinds, have %d", n, len(h.Hours))
	}
	for k, hours := range h.Hours {
		if len(hours) > 0 && !(hours[0] > 0) {
			return fmt.Errorf("capacity: need usual hours above 0, rising, of %s, have %v first", p.Kinds[k].Kind, hours[0])
		}
	}
	for _, b := range h.Lean {
		if !(b > -1 && b <= 1) {
			return fmt.Errorf("capacity: need growth that goes with a power of the quoted hours above -1, up to 1, have %v", b)
		}
	}
	return nil
}

// Arriving gives the hours that new jobs of all kinds bring each week.
func (p Plan) Arriving() forecast.Paths {
	like := p.Kinds[0].Hours
	sum := forecast.NewPaths(like.Start, like.Step, like.H, like.N())
	for _, d := range p.Kinds {
		sum.Add(d.Hours)
	}
	return sum
}

func (p Plan) names() []string {
	names := make([]string, len(p.Kinds))
	for i, d := range p.Kinds {
		names[i] = d.Kind
	}
	return names
}

// Weeks gives n weeks of the crew's hours from the plan's first day on. The
// plan must pass Check; it panics if n < 1.
func (p Plan) Weeks(n int) []Week { return p.floor(n).weeks() }

// floor lays out n weeks.
func (p Plan) floor(n int) *Floor {
	end := p.From.Monday() + forecast.Date(forecast.Week*n)
	return newFloor(p.Crew, p.extra, p.Calendar, p.Absences, p.names(), p.From, int(end-p.From))
}

// Outcome works the plan's jobs off on the floor, day by day on each path. It
// returns the error of Check, or one if the crew has no hours in any week.
func (p Plan) Outcome() (Outcome, error) {
	if err := p.Check(); err != nil {
		return Outcome{}, err
	}
	near := p.Near
	if near == 0 {
		near = p.Kinds[0].Hours.H
	}
	return p.follow(near, 0, everything)
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
			out = append(out, fmt.Errorf("capacity: time off of %s from %s isn't counted, as nobody in the crew has that name", a.Name, longDay(a.From)))
		}
	}
	for _, d := range p.Kinds {
		if d.Kind != "" && len(p.Crew.names(d.Kind)) == 0 {
			out = append(out, fmt.Errorf("capacity: nobody in the crew has %s among the skills; its hours are counted as if everybody could do it", d.Kind))
		}
	}
	overrun := 0
	for _, j := range p.Open {
		if j.Quoted > 0 && j.Worked > j.Quoted*p.Habits.lean(j.Kind, j.Quoted)*greatest(p.Habits.Growth[j.Kind], 1) || j.Quoted == 0 && j.Worked > greatest(p.Habits.Hours[j.Kind], 1) {
			overrun++
		}
	}
	if overrun > 0 {
		out = append(out, fmt.Errorf("capacity: %d open jobs have been worked longer than any like them, and what is left of them isn't counted", overrun))
	}
	return out
}

// greatest gives the last of rising values, or what to take without any.
func greatest(rising []float64, without float64) float64 {
	if len(rising) == 0 {
		return without
	}
	return rising[len(rising)-1]
}

func (p Plan) policy() Policy {
	if p.Policy == (Policy{}) {
		return DefaultPolicy()
	}
	return p.Policy
}
