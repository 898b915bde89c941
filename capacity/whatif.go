package capacity

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// WhatIf is a change to try out on a plan. The zero value changes nothing.
type WhatIf struct {
	AddTech         int           // technicians more, or fewer if negative, each like the crew's average
	AddTechFrom     forecast.Date // their first day at full speed; the zero Date is the plan's first day
	AddHours        float64       // hours on jobs more in a usual week, or fewer if negative
	DemandPercent   float64       // arriving hours more, in percent: 10 is a tenth more, -10 a tenth fewer
	SeasonShiftDays int           // days by which the season of arrivals comes later, or earlier if negative
	Saturdays       bool          // open every Saturday for a full day with the whole crew
}

// Apply gives the plan as the change would make it and leaves p as it is. It
// returns an error if p fails its Check or the change isn't one that numbers
// can follow: hours not finite, or demand below -100 %.
func (w WhatIf) Apply(p Plan) (Plan, error) {
	if err := p.Check(); err != nil {
		return Plan{}, err
	}
	switch {
	case math.IsNaN(w.AddHours) || math.IsInf(w.AddHours, 0):
		return Plan{}, fmt.Errorf("capacity: need a finite number of hours to add, have %v", w.AddHours)
	case !(w.DemandPercent >= -100) || math.IsInf(w.DemandPercent, 1):
		return Plan{}, fmt.Errorf("capacity: need a change of demand of -100 %% or more, have %v %%", w.DemandPercent)
	case w.AddTech < -maxAddTech || w.AddTech > maxAddTech:
		return Plan{}, fmt.Errorf("capacity: need a change of %d technicians or fewer, have %d", maxAddTech, w.AddTech)
	}
	from := w.AddTechFrom
	if from == 0 {
		from = p.From
	}
	// Concat and the copies below: the plan's own slices stay as they are.
	p.extra = slices.Concat(p.extra, w.hands(p.Crew.typical(from), from))
	if w.Saturdays {
		end := p.From.Monday() + forecast.Date(7*(p.Arriving.H+workOff))
		p.Calendar = p.Calendar.with(p.Calendar.saturdays(p.From, end, 1))
	}
	if w.SeasonShiftDays != 0 {
		p.Arriving = shiftSeason(p.Arriving, p.Weeks(max(1, p.Arriving.H)), w.SeasonShiftDays)
	}
	if w.DemandPercent != 0 {
		p.Arriving.Values = slices.Clone(p.Arriving.Values)
		for k := range p.Arriving.Values {
			p.Arriving.Values[k] *= 1 + w.DemandPercent/100
		}
	}
	return p, nil
}

const maxAddTech = 100

// hands gives the technicians and hours to add.
func (w WhatIf) hands(typical Technician, from forecast.Date) Crew {
	var out Crew
	typical.From = from
	typical.Name = "one technician more"
	if w.AddTech < 0 {
		typical.Name = "one technician fewer"
		typical.WeeklyHours = -typical.WeeklyHours
	}
	for range max(w.AddTech, -w.AddTech) {
		out = append(out, typical)
	}
	if w.AddHours != 0 {
		out = append(out, Technician{Name: "hours more", WeeklyHours: w.AddHours, Productivity: 1})
	}
	return out
}

// shiftSeason gives paths whose mean comes days later (earlier if negative).
// The season is the mean number of hours that an open day brings, so that a
// closed week or a week begun stays where it is while the season moves; it
// lies on straight lines between the weeks' middles and stays level beyond
// both ends. Each path keeps its ratio to the mean: shifting the paths
// themselves by part of a week would average neighbouring weeks and so make
// the future look surer than it is. Weeks closed, and weeks in which no path
// brings anything, stay as they are.
func shiftSeason(p forecast.Paths, weeks []Week, days int) forecast.Paths {
	season := make([]float64, p.H)
	for k, v := range p.Values {
		season[k%p.H] += v / float64(p.N())
	}
	mean := slices.Clone(season)
	open := 0
	for j := range season {
		season[j] /= weeks[j].OpenDays
		if weeks[j].OpenDays == 0 {
			season[j] = math.NaN()
		} else {
			open++
		}
	}
	out := p
	out.Values = slices.Clone(p.Values)
	if open == 0 {
		return out
	}
	season = forecast.Plain(season, 1).Fill()
	for j := range p.H {
		if weeks[j].OpenDays == 0 || mean[j] == 0 {
			continue
		}
		x := min(max(float64(j)-float64(days)/forecast.Week, 0), float64(p.H-1))
		k := int(x)
		now := season[k]
		if k+1 < p.H {
			now += (x - float64(k)) * (season[k+1] - season[k])
		}
		ratio := now * weeks[j].OpenDays / mean[j]
		for i := j; i < len(out.Values); i += p.H {
			out.Values[i] *= ratio
		}
	}
	return out
}
