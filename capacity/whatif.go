package capacity

import (
	"fmt"
	"math"
	"slices"
	"strings"

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
// can follow: hours not finite, or demand below -100 % or above 1,000 %, whose
// jobs would be too many to work off.
func (w WhatIf) Apply(p Plan) (Plan, error) {
	if err := p.Check(); err != nil {
		return Plan{}, err
	}
	switch {
	case math.IsNaN(w.AddHours) || math.IsInf(w.AddHours, 0):
		return Plan{}, fmt.Errorf("capacity: need a finite number of hours to add, have %v", w.AddHours)
	case !(w.DemandPercent >= -100 && w.DemandPercent <= maxDemand):
		return Plan{}, fmt.Errorf("capacity: need a change of demand from -100 to %d %%, have %v %%", maxDemand, w.DemandPercent)
	case w.AddTech < -maxAddTech || w.AddTech > maxAddTech:
		return Plan{}, fmt.Errorf("capacity: need a change of %d technicians or fewer, have %d", maxAddTech, w.AddTech)
	}
	from := w.AddTechFrom
	if from == 0 {
		from = p.From
	}
	// Concat and the copies below: the plan's own slices stay as they are.
	p.extra = slices.Concat(p.extra, w.hands(p.Crew.typical(from), from))
	if w.SeasonShiftDays != 0 || w.DemandPercent != 0 {
		arriving := p.Arriving()
		times := seasonShift(arriving, p.Weeks(arriving.H), p.Calendar.UsualDays(), w.SeasonShiftDays)
		for j := range times {
			times[j] *= 1 + w.DemandPercent/100
		}
		p.Kinds, p.drawn = slices.Clone(p.Kinds), nil
		for i, d := range p.Kinds {
			p.Kinds[i] = d.scaled(times)
		}
	}
	if w.Saturdays { // last, as the season is told from usual weeks
		end := p.From.Monday() + forecast.Date(7*(p.Kinds[0].Hours.H+workOff))
		p.Calendar = p.Calendar.with(p.Calendar.saturdays(p.From, end, 1))
	}
	return p, nil
}

const (
	maxAddTech = 100
	maxDemand  = 1000 // percent
)

// String says the change in words, empty for the zero value.
func (w WhatIf) String() string {
	var parts []string
	if n := max(w.AddTech, -w.AddTech); n != 0 {
		s := plural(n, "technician") + " more"
		if w.AddTech < 0 {
			s = plural(n, "technician") + " fewer"
		}
		if w.AddTechFrom != 0 {
			s += " from " + longDay(w.AddTechFrom)
		}
		parts = append(parts, s)
	}
	moreOr := func(v float64, less string) string {
		if v < 0 {
			return less
		}
		return "more"
	}
	if w.AddHours != 0 {
		parts = append(parts, fmt.Sprintf("%.4g hours on jobs a week %s", math.Abs(w.AddHours), moreOr(w.AddHours, "fewer")))
	}
	if w.DemandPercent != 0 {
		parts = append(parts, fmt.Sprintf("%.4g %% %s work", math.Abs(w.DemandPercent), moreOr(w.DemandPercent, "less")))
	}
	if n := w.SeasonShiftDays; n > 0 {
		parts = append(parts, "the season "+plural(n, "day")+" later")
	} else if n < 0 {
		parts = append(parts, "the season "+plural(-n, "day")+" earlier")
	}
	if w.Saturdays {
		parts = append(parts, "open on Saturdays")
	}
	return strings.Join(parts, ", ")
}

// hands gives the technicians and hours to add.
func (w WhatIf) hands(typical Technician, from forecast.Date) Crew {
	var out Crew
	typical.From = from
	typical.Name = "one technician more"
	if w.AddTech < 0 {
		typical.Name = "one technician fewer"
		typical.WeeklyHours = -typical.WeeklyHours
		typical.Skills = nil // who leaves isn't said: everybody has so much more to do
	}
	for range max(w.AddTech, -w.AddTech) {
		out = append(out, typical)
	}
	if w.AddHours != 0 {
		out = append(out, Technician{Name: "hours more", WeeklyHours: w.AddHours, Productivity: 1})
	}
	return out
}

// scaled gives the demand with each week multiplied by its factor.
func (d Demand) scaled(times []float64) Demand {
	d.Hours, d.Jobs = scaled(d.Hours, times), scaled(d.Jobs, times)
	return d
}

// scaled gives the paths with each week multiplied by its factor.
func scaled(p forecast.Paths, times []float64) forecast.Paths {
	p.Values = slices.Clone(p.Values)
	for k := range p.Values {
		p.Values[k] *= times[k%p.H]
	}
	return p
}

// seasonShift gives the factors by which each week's hours change if the
// season comes days later (earlier if negative), while holidays stay on their
// dates. The season is the mean of the weeks with a usual number of open days,
// on straight lines between their middles and level beyond both ends; what a
// week with closed days, or one begun, brings less or more than that is the
// week's own and stays with it. Each path keeps its ratio to the mean: shifting
// the paths themselves by part of a week would average neighbouring weeks and
// so make the future look surer than it is.
func seasonShift(p forecast.Paths, weeks []Week, usual float64, days int) []float64 {
	times, season := make([]float64, p.H), make([]float64, p.H)
	whole := false
	for j := range season {
		times[j] = 1
		if season[j] = p.Dist(j).Mean(); weeks[j].OpenDays < usual {
			season[j] = math.NaN()
		} else {
			whole = true
		}
	}
	if !whole || days == 0 {
		return times
	}
	season = forecast.Plain(season, 1).Fill()
	for j, here := range season {
		if here == 0 {
			continue // nothing to scale
		}
		x := min(max(float64(j)-float64(days)/forecast.Week, 0), float64(p.H-1))
		k := int(x)
		now := season[k]
		if k+1 < p.H {
			now += (x - float64(k)) * (season[k+1] - season[k])
		}
		times[j] = now / here
	}
	return times
}
