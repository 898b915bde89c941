package capacity

import (
	"errors"
	"fmt"
	"math"

	"freshet/forecast"
)

// Technician is one who works on jobs.
type Technician struct {
	Name         string
	WeeklyHours  float64       // paid hours of a usual week
	Productivity float64       // clocked/paid hours, above 0 to 1
	Skills       []string      // job kinds, or "all"
	From, Until  forecast.Date // first and last day of work; the zero Date is no limit
	HourlyCost   float64       // of a paid hour, payroll burden included; 0 if not known
	Ramp         int           // weeks from From on over which hours on jobs grow in a straight line from none to full
}

// Cost gives what so many weeks of a usual length cost the shop.
func (t Technician) Cost(weeks float64) float64 { return t.WeeklyHours * t.HourlyCost * weeks }

// hours gives the paid hours on d and those on jobs, in a week of so many
// usual days, of which d is a share.
func (t Technician) hours(d forecast.Date, share, usual float64) (paid, onJobs float64) {
	if t.From != 0 && d < t.From || t.Until != 0 && d > t.Until {
		return 0, 0
	}
	paid = t.WeeklyHours * share / usual
	onJobs = paid * t.Productivity
	if t.Ramp > 0 && t.From != 0 {
		onJobs *= min(1, (float64(d-t.From)+.5)/float64(7*t.Ramp)) // at noon
	}
	return paid, onJobs
}

// Absence is time off of one technician, first and last day included. Days on
// which the whole shop is closed belong into the Calendar.
type Absence struct {
	Name        string
	From, Until forecast.Date
}

func (a Absence) covers(d forecast.Date) bool { return a.From <= d && d <= a.Until }

// Crew is all who work on jobs.
type Crew []Technician

// Check reports what makes the crew unusable: nobody, or a technician with
// hours, productivity, cost or dates that can't be.
func (c Crew) Check() error {
	if len(c) == 0 {
		return errors.New("capacity: need at least 1 technician, have 0")
	}
	const hoursAWeek = 168
	for _, t := range c {
		switch {
		case !(t.WeeklyHours > 0 && t.WeeklyHours <= hoursAWeek):
			return fmt.Errorf("capacity: need weekly hours above 0 to %d for %s, have %v", hoursAWeek, t.Name, t.WeeklyHours)
		case !(t.Productivity > 0 && t.Productivity <= 1):
			return fmt.Errorf("capacity: need a productivity above 0 to 1 for %s, have %v", t.Name, t.Productivity)
		case !(t.HourlyCost >= 0) || math.IsInf(t.HourlyCost, 1):
			return fmt.Errorf("capacity: need an hourly cost of 0 or more for %s, have %v", t.Name, t.HourlyCost)
		case t.Until != 0 && t.Until < t.From:
			return fmt.Errorf("capacity: need %s to leave on %s or later, have %s", t.Name, longDay(t.From), longDay(t.Until))
		case t.Ramp < 0:
			return fmt.Errorf("capacity: need a ramp of 0 or more weeks for %s, have %d", t.Name, t.Ramp)
		}
	}
	return nil
}

// Week is one week of the crew's hours. Only days that are still to come
// count: in the first week those from From on.
type Week struct {
	Monday       forecast.Date
	From         forecast.Date // first day that counts
	OpenDays     float64       // usual days' worth that the shop is open
	Paid         float64       // hours paid, time off included
	Available    float64       // hours that can go on jobs
	ByTechnician []float64     // available hours, in the crew's order
}

// Hours gives n weeks of the crew's hours, the first being the week that holds
// from, with the days from that one on alone: what can still be done. A day
// brings weekly hours × open share/usual days × productivity; time off takes
// away its days; where more are in than there are bays, each works the part of
// the day that a bay is free. Start and leaving dates count by the day. It
// panics if n < 1; calendar and crew must pass their Check.
func (c Crew) Hours(cal Calendar, absences []Absence, from forecast.Date, n int) []Week {
	if n < 1 {
		panic(fmt.Sprintf("capacity: need 1 week or more, have %d", n))
	}
	end := from.Monday() + forecast.Date(forecast.Week*n)
	return newFloor(c, nil, cal, absences, nil, from, int(end-from)).weeks()
}

// day gives each technician's hours on jobs on an open day into onJobs, and
// the paid hours of all.
func (c Crew) day(d forecast.Date, share, usual float64, off [][]Absence, bays int, onJobs []float64) (paid float64) {
	present := 0
	for i, t := range c {
		p, h := t.hours(d, share, usual)
		paid += p
		if onJobs[i] = 0; !away(off[i], d) {
			onJobs[i] = h
			if h > 0 {
				present++
			}
		}
	}
	if bays > 0 && present > bays { // they take turns
		for i := range onJobs {
			onJobs[i] *= float64(bays) / float64(present)
		}
	}
	return paid
}

// absencesOf gives the time off of each technician.
func absencesOf(c Crew, off []Absence) [][]Absence {
	out := make([][]Absence, len(c))
	for i, t := range c {
		for _, a := range off {
			if a.Name == t.Name {
				out[i] = append(out[i], a)
			}
		}
	}
	return out
}

func away(off []Absence, d forecast.Date) bool {
	for _, a := range off {
		if a.covers(d) {
			return true
		}
	}
	return false
}

// typical gives the average technician of those at work on d, or of all if
// nobody is.
func (c Crew) typical(d forecast.Date) Technician {
	out := Technician{Skills: []string{"all"}}
	n, known := 0, 0
	for pass := 0; n == 0 && pass < 2; pass++ {
		for _, t := range c {
			if pass == 0 && (t.From != 0 && d < t.From || t.Until != 0 && d > t.Until) {
				continue
			}
			n++
			out.WeeklyHours += t.WeeklyHours
			out.Productivity += t.WeeklyHours * t.Productivity
			if t.HourlyCost > 0 {
				out.HourlyCost += t.HourlyCost
				known++
			}
		}
	}
	out.Productivity /= out.WeeklyHours
	out.WeeklyHours /= float64(n)
	if known > 0 {
		out.HourlyCost /= float64(known)
	}
	return out
}
