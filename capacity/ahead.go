package capacity

import (
	"slices"

	"freshet/forecast"
)

// Ahead is how the jobs in the shop stand to one that somebody asks about.
// Hours are what is left of them, in the mean.
type Ahead struct {
	Jobs    int     // that are ahead of it and take the same people
	Hours   float64 // of those
	Kin     float64 // of those hours, what only those who do the inquiry's kind may do
	Waiting int     // jobs that take the same people and are ahead of it once the part or the word has come that they wait for
	Others  int     // jobs that are for others of the crew alone
	Behind  int     // jobs that stand behind it by their rank

	People []string // those of the crew who do the inquiry's kind, by name; nil if all do
}

// Ahead gives how the open jobs stand to an inquiry on the floor's first day.
func (h Habits) Ahead(f *Floor, crew Crew, open []OpenJob, q Inquiry) (a Ahead) {
	class, there := f.class[q.Kind], 0
	var does []int
	for t := range crew {
		if !f.works(t) {
			continue
		}
		if there++; f.can(t, class) {
			does = append(does, t)
		}
	}
	if len(does) < there {
		for _, t := range does {
			a.People = append(a.People, crew[t].Name)
		}
	}
	mine := rank(q.Emergency, q.Deferrable)
	for _, j := range open {
		o := h.opening(j, f.Start)
		shared := slices.ContainsFunc(does, func(t int) bool { return f.can(t, f.class[j.Kind]) })
		switch {
		case !shared:
			a.Others++
		case o.Rank > mine:
			a.Behind++
		case o.waits != nil || o.From > 0:
			a.Waiting++
		default:
			hours := o.expected()
			a.Jobs++
			a.Hours += hours
			if f.onlyBy(does, f.class[j.Kind]) {
				a.Kin += hours
			}
		}
	}
	return a
}

// works tells whether a technician is there on any day.
func (f *Floor) works(technician int) bool {
	for d := range f.Days {
		if f.hours[d*f.crew+technician] > 0 {
			return true
		}
	}
	return false
}

// onlyBy tells whether nobody who is there but these technicians does a class
// of kinds.
func (f *Floor) onlyBy(these []int, class int) bool {
	for t := range f.does {
		if f.can(t, class) && f.works(t) && !slices.Contains(these, t) {
			return false
		}
	}
	return true
}

// Away gives the days off of one of the crew that touch a span of days, the
// last one included, in the order in which they are on record.
func Away(off []Absence, name string, from, until forecast.Date) (out []Absence) {
	for _, a := range off {
		if a.Name == name && a.From <= until && a.Until >= from {
			out = append(out, a)
		}
	}
	return out
}
