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
	ranks = iota
)

const longestWait = 42 // days after which a job that can wait is as any other

// Task is one job. Days count from the floor's first, which is 0.
type Task struct {
	Kind  int // index into the floor's kinds
	In    int // day on which it was dropped off, below 0 before the floor's first
	From  int // first day on which it can be worked on: its parts are there
	Hours float64
	Rank  Rank
	Stays int // days on which the rig stands on the lot once it is ready
}

// Floor is who can work on what, day by day: on each open day whoever is free
// first takes the first job in line that can be worked on, is in nobody else's
// hands and is of a kind that he or she does, and goes on to the next when it
// is done. A kind that one person knows is so a line with one server.
//
// A Floor doesn't change once it is made, and may be shared.
type Floor struct {
	Start   forecast.Date
	Days    int
	begun   int // days of the first week before Start
	crew    int
	hours   []float64 // by day and technician
	paid    []float64 // by day
	share   []float64 // of a usual day that the shop is open, by day
	there   [][]int   // technicians who work, by day
	classes int
	class   []int   // by kind: kinds that the same part of the crew does are one class
	does    [][]int // classes by technician
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
	return newFloor(crew, nil, cal, off, kinds, start, days), nil
}

// newFloor lays out the days of a crew and of a what-if's hands, which may be
// negative. Hands without skills of their own are no person: their hours make
// those of everybody else longer or shorter, in proportion.
func newFloor(crew, extra Crew, cal Calendar, off []Absence, kinds []string, start forecast.Date, days int) *Floor {
	var spread Crew
	own := len(crew)
	crew = crew[:own:own]
	for _, t := range extra {
		if t.Skills == nil {
			spread = append(spread, t)
		} else {
			crew = append(crew, t)
		}
	}
	f := &Floor{Start: start, Days: days, begun: int(start - start.Monday()), crew: len(crew), hours: make([]float64, days*len(crew)), paid: make([]float64, days), share: make([]float64, days), there: make([][]int, days)}
	there := make([]int, 0, len(f.hours))
	usual := cal.UsualDays()
	gone := absencesOf(crew, off)
	for d := range days {
		day := start + forecast.Date(d)
		share := cal.OpenShare(day)
		if share == 0 {
			continue
		}
		today := f.hours[d*f.crew : (d+1)*f.crew]
		f.share[d], f.paid[d] = share, crew.day(day, share, usual, gone, cal.Bays, today)
		sum, more := 0.0, 0.0
		for _, h := range today {
			sum += h
		}
		for _, t := range spread {
			paid, h := t.hours(day, share, usual)
			f.paid[d] += paid
			more += h
		}
		f.paid[d] = max(0, f.paid[d]) // fewer than those who are there can't be
		if sum > 0 {
			for i := range today {
				today[i] *= max(0, 1+more/sum)
			}
		}
		from := len(there)
		for t, h := range today {
			if h > enough {
				there = append(there, t)
			}
		}
		f.there[d] = there[from:]
	}
	f.sort(crew, own, kinds)
	return f
}

// sort puts the kinds into classes. A kind that none of the shop's own, the
// first of the crew, lists is done by all: the list is of exceptions.
func (f *Floor) sort(crew Crew, own int, kinds []string) {
	f.class, f.does = make([]int, len(kinds)), make([][]int, len(crew))
	var who [][]bool // by class and technician
	for k, kind := range kinds {
		can := make([]bool, len(crew))
		for t := range crew {
			can[t] = crew[t].Can(kind)
		}
		if kind == "" || !slices.Contains(can[:own], true) {
			for t := range can {
				can[t] = true
			}
		}
		c := slices.IndexFunc(who, func(w []bool) bool { return slices.Equal(w, can) })
		if c < 0 {
			c = len(who)
			who = append(who, can)
			for t := range can {
				if can[t] {
					f.does[t] = append(f.does[t], c)
				}
			}
		}
		f.class[k] = c
	}
	f.classes = len(who)
}

// weeks sums the floor's days by week, the last of which may be cut off.
func (f *Floor) weeks() []Week {
	monday := f.Start.Monday()
	weeks := make([]Week, (f.begun+f.Days+6)/forecast.Week)
	by := make([]float64, len(weeks)*f.crew)
	for j := range weeks {
		weeks[j].Monday = monday + forecast.Date(forecast.Week*j)
		weeks[j].From = max(f.Start, weeks[j].Monday)
		weeks[j].ByTechnician, by = by[:f.crew:f.crew], by[f.crew:]
	}
	for d := range f.Days {
		w := &weeks[f.week(d)]
		w.OpenDays += f.share[d]
		w.Paid += f.paid[d]
		for t, h := range f.hours[d*f.crew : (d+1)*f.crew] {
			w.ByTechnician[t] += h
			w.Available += h
		}
	}
	return weeks
}

// first gives the first day after so many weeks.
func (f *Floor) first(weeks int) int { return forecast.Week*weeks - f.begun }

// week gives the number of a day's week.
func (f *Floor) week(day int) int { return (f.begun + day) / forecast.Week }

// can tells whether a technician does a class of kinds.
func (f *Floor) can(technician, class int) bool { return slices.Contains(f.does[technician], class) }

// Open tells whether anyone works on a day.
func (f *Floor) Open(day int) bool {
	for _, h := range f.hours[day*f.crew : (day+1)*f.crew] {
		if h > 0 {
			return true
		}
	}
	return false
}
