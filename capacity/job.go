package capacity

import (
	"slices"
	"strings"
	"unicode"

	"freshet/forecast"
)

// OpenJob is a job in the shop.
type OpenJob struct {
	Kind       int // index into the kinds
	DroppedOff forecast.Date
	Quoted     float64 // hours; 0 if not known
	Worked     float64 // hours clocked so far
	Waiting    bool    // for parts or approval: nobody can work on it now
	Emergency  bool
	Deferrable bool          // by the shop's own mark
	NotBefore  forecast.Date // day before which it is put off; the zero Date if it isn't
}

// CanMove tells whether the job, of a kind of that name, may be put off: marked
// deferrable, ready, no emergency, and not of a kind that must never be put off.
func (j OpenJob) CanMove(kind string) bool {
	return j.Deferrable && !j.Waiting && !j.Emergency && !SafetyCritical(kind)
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
