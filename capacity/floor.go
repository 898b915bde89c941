package capacity

import (
	"fmt"
	"slices"

	"freshet/forecast"
)

// Rank is a job's place before the days it has waited count.
type Rank uint8

// The ranks: emergencies before the rest, what can wait last, though not for
// longer than six weeks. Common practice, no source.
const (
	Urgent Rank = iota
	Usual
	CanWait
)

const longestWait = 42 // days after which a job that can wait is as any other

// Task is one job in the line. Days count from the floor's first, which is 0.
type Task struct {
	Kind  int // index into the floor's kinds
	In    int // day on which it was dropped off, below 0 before the floor's first
	From  int // first day on which it can be worked on: its parts are there
	Hours float64
	Rank  Rank
}

// Floor is who can work on what, day by day: on each open day whoever is free
// first takes the first job in line that can be worked on, is in nobody else's
// hands and is of a kind that he or she does, and goes on to the next when it
// is done. A kind that one person knows is so a line with one server.
//
// A Floor doesn't change once it is made, and may be shared.
type Floor struct {
	Start forecast.Date
	Days  int
	hours []float64 // by day and technician
	does  []bool    // by technician and kind
	kinds int
	crew  int
}

// NewFloor lays out so many days. It panics if days < 1, and returns an error
// if the crew or the calendar is unusable.
func NewFloor(crew Crew, cal Calendar, off []Absence, kinds []string, start forecast.Date, days int) (*Floor, error) {
	if days < 1 {
		panic(fmt.Sprintf("capacity: need 1 day or more, have %d", days))
	}
	if err := crew.Check(); err != nil {
		return nil, err
	}
	if err := cal.Check(); err != nil {
		return nil, err
	}
	f := &Floor{Start: start, Days: days, kinds: len(kinds), crew: len(crew)}
	usual := cal.UsualDays()
	gone := make([][]Absence, len(crew))
	for i, t := range crew {
		gone[i] = absencesOf(off, t.Name)
	}
	for d := range days {
		day := start + forecast.Date(d)
		share := cal.OpenShare(day)
		for i, t := range crew {
			h := 0.0
			if share > 0 && !away(gone[i], day) {
				_, h = t.hours(day, share, usual)
			}
			f.hours = append(f.hours, h)
		}
	}
	for _, t := range crew {
		for _, k := range kinds {
			f.does = append(f.does, slices.Contains(t.Skills, "all") || slices.Contains(t.Skills, k))
		}
	}
	for k := range kinds {
		if !f.anyone(k) { // a kind that nobody lists is done by all: the list is of exceptions
			for t := range crew {
				f.does[t*f.kinds+k] = true
			}
		}
	}
	return f, nil
}

func absencesOf(off []Absence, name string) []Absence {
	var out []Absence
	for _, a := range off {
		if a.Name == name {
			out = append(out, a)
		}
	}
	return out
}

func (f *Floor) anyone(kind int) bool {
	for t := range f.crew {
		if f.does[t*f.kinds+kind] {
			return true
		}
	}
	return false
}

// Open tells whether anyone works on a day.
func (f *Floor) Open(day int) bool {
	for _, h := range f.hours[day*f.crew : (day+1)*f.crew] {
		if h > 0 {
			return true
		}
	}
	return false
}

// Run is the line as it is worked off, with room that is used again. A Run is
// for one goroutine.
type Run struct {
	line  []running
	ready []int
	clock []float64 // hours into the day, by technician
}

type running struct {
	Task
	left  float64
	id    int
	taken int // last day on which somebody had it, plus 1
}

// enough is the hours below which a job is done.
const enough = .05

// Done works the tasks off over so many days, at most the floor's, and gives
// the day on which each is ready, the floor's Days where it isn't by then. The
// result is valid until the next call. tasks is sorted by drop-off; of equal
// ones the earlier stands first. It stops early once the task last is ready, if
// last isn't negative; the others' days are then the floor's Days. first is the
// first day on which somebody works on last.
func (r *Run) Done(f *Floor, tasks []Task, last, days int) (ready []int, first int) {
	r.line, r.ready = r.line[:0], r.ready[:0]
	for i, t := range tasks {
		r.ready = append(r.ready, f.Days)
		r.line = append(r.line, running{Task: t, left: t.Hours, id: i})
	}
	first = f.Days
	for d := range days {
		worked := false
		hours := f.hours[d*f.crew : (d+1)*f.crew]
		r.clock = append(r.clock[:0], make([]float64, f.crew)...)
		for {
			// Whoever is free first takes the next job.
			t := -1
			for i, at := range r.clock {
				if hours[i]-at > enough && (t < 0 || at < r.clock[t]) {
					t = i
				}
			}
			if t < 0 {
				break
			}
			j := r.next(f, d, t)
			if j == nil {
				r.clock[t] = hours[t] // nothing for this one today
				continue
			}
			if j.id == last {
				first = min(first, d)
			}
			j.taken = d + 1
			worked = true
			h := min(hours[t]-r.clock[t], j.left)
			r.clock[t] += h
			if j.left -= h; j.left < enough {
				r.ready[j.id] = d
				if j.id == last {
					return r.ready, first
				}
			}
		}
		if worked {
			r.line = slices.DeleteFunc(r.line, func(j running) bool { return j.left < enough })
		}
		if len(r.line) == 0 {
			break
		}
	}
	return r.ready, first
}

// next gives the first job in line for a technician on a day, nil if there is
// none.
func (r *Run) next(f *Floor, day, technician int) *running {
	does := f.does[technician*f.kinds : (technician+1)*f.kinds]
	var best *running
	rank := CanWait + 1
	for i := range r.line {
		j := &r.line[i]
		if j.In > day {
			break // the line is in order of drop-off
		}
		if j.From > day || j.taken == day+1 || j.left < enough || !does[j.Kind] {
			continue
		}
		at := j.Rank
		if at == CanWait && day >= j.In+longestWait {
			at = Usual
		}
		if at < rank {
			if best, rank = j, at; rank == Urgent {
				break
			}
		}
	}
	return best
}
