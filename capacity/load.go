package capacity

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"freshet/forecast"
)

// Job is one open job line.
type Job struct {
	Kind       string
	DroppedOff forecast.Date
	Hours      float64 // expected in all, clocked
	Worked     float64 // clocked so far
	Waiting    bool    // for parts or approval: nobody can work on it now
	Emergency  bool
	Deferrable bool // by the shop's own mark
}

// Remaining gives the hours still to work. A job past its expected hours has
// none that anybody knows of.
func (j Job) Remaining() float64 { return max(0, j.Hours-j.Worked) }

// CanMove tells whether the job may be put off: marked deferrable, ready, no
// emergency, and not of a kind that must never be put off.
func (j Job) CanMove() bool {
	return j.Deferrable && !j.Waiting && !j.Emergency && !SafetyCritical(j.Kind)
}

// safetyStems are beginnings of words in job kinds that are never put off.
var safetyStems = []string{"gas", "propane", "leak", "monoxide", "alarm", "detector", "brak", "tire", "tyre", "hitch", "roof", "shock", "safety"}

// SafetyCritical tells whether the name of a job kind has a word of gas, LP,
// carbon monoxide, alarms, brakes, tires, hitch, roof or electric shock. Such
// work is never put off automatically. It errs on the safe side.
func SafetyCritical(kind string) bool {
	words := strings.FieldsFunc(strings.ToLower(kind), func(r rune) bool { return !unicode.IsLetter(r) })
	return slices.ContainsFunc(words, func(w string) bool {
		return w == "lp" || w == "lpg" || w == "co" ||
			slices.ContainsFunc(safetyStems, func(stem string) bool { return strings.HasPrefix(w, stem) })
	})
}

// Load is the open work at the start.
type Load struct {
	Ready   float64 // hours that can be worked on now
	Waiting float64 // hours of jobs that wait for parts or approval
	Movable float64 // of the ready hours, those of jobs that may be put off
	Overrun int     // jobs worked past their expected hours, of which nothing is counted
}

// NewLoad sums the open jobs. It returns an error if a job's hours aren't
// finite numbers of 0 or more.
func NewLoad(jobs []Job) (Load, error) {
	var l Load
	for _, j := range jobs {
		if !(j.Hours >= 0 && j.Worked >= 0) || math.IsInf(j.Hours+j.Worked, 0) {
			return Load{}, fmt.Errorf("capacity: need hours of 0 or more for the %s job dropped off on %v, have %v expected and %v worked",
				j.Kind, j.DroppedOff, j.Hours, j.Worked)
		}
		h := j.Remaining()
		switch {
		case j.Worked > j.Hours:
			l.Overrun++
		case j.Waiting:
			l.Waiting += h
		default:
			l.Ready += h
		}
		if j.CanMove() {
			l.Movable += h
		}
	}
	return l, nil
}

// Release spreads the waiting hours evenly over the first over weeks, of which
// the result holds n: the simplest schedule by which parts and approvals come
// in. What lies beyond n stays waiting. It panics if over < 1 or n < 0.
func (l Load) Release(over, n int) []float64 {
	if over < 1 || n < 0 {
		panic(fmt.Sprintf("capacity: need a release over 1 week or more into 0 or more, have %d into %d", over, n))
	}
	out := make([]float64, n)
	for j := range min(over, n) {
		out[j] = l.Waiting / float64(over)
	}
	return out
}
