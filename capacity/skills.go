package capacity

import (
	"fmt"
	"slices"
	"strings"

	"freshet/forecast"
)

// Demand is the work of one job kind, for crews in which not everybody may do
// everything. It is part of the plan's Load and Arriving, not on top of them.
type Demand struct {
	Kind     string
	Ready    float64        // hours of open work that can be worked on now
	Released []float64      // hours of waiting work that become ready in each week
	Arriving forecast.Paths // hours that new jobs bring, shaped and ordered as Plan.Arriving
}

// Can tells whether the technician may work on a job kind. Names of kinds are
// compared without regard to case and spaces around them.
func (t Technician) Can(kind string) bool {
	return slices.ContainsFunc(t.Skills, func(s string) bool {
		s = strings.TrimSpace(s)
		return strings.EqualFold(s, "all") || strings.EqualFold(s, strings.TrimSpace(kind))
	})
}

// Skill is a group of job kinds that the same part of the crew can do, with
// what follows if that part did nothing else: its hours are the most there can
// be, and its chance of being short the least. With one name it is a line with
// a single server.
type Skill struct {
	Kinds []string
	Who   []string
	Outcome
}

// Skills gives the job kinds that only part of the crew can do, in order of
// the plan's Kinds, hands of a what-if left out. It returns the error of
// Check or Backlog. Kinds that nobody can do are left to Warnings.
func (p Plan) Skills() ([]Skill, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	var out []Skill
	var demands [][]Demand
	for _, d := range p.Kinds {
		who := p.Crew.names(d.Kind)
		if len(who) == 0 || len(who) == len(p.Crew) {
			continue
		}
		i := slices.IndexFunc(out, func(s Skill) bool { return slices.Equal(s.Who, who) })
		if i < 0 {
			i = len(out)
			out = append(out, Skill{Who: who})
			demands = append(demands, nil)
		}
		out[i].Kinds = append(out[i].Kinds, d.Kind)
		demands[i] = append(demands[i], d)
	}
	for i := range out {
		var err error
		if out[i].Outcome, err = p.part(out[i].Who, demands[i]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// names lists the technicians that can do a kind.
func (c Crew) names(kind string) []string {
	var out []string
	for _, t := range c {
		if t.Can(kind) {
			out = append(out, t.Name)
		}
	}
	return out
}

// part follows some kinds' work through the hours of part of the crew.
func (p Plan) part(who []string, kinds []Demand) (Outcome, error) {
	h, n := p.Arriving.H, p.Arriving.N()
	sum := forecast.NewPaths(p.Arriving.Start, p.Arriving.Step, h, n)
	released := make([]float64, h)
	var load Load
	for _, d := range kinds {
		if len(d.Arriving.Values) != len(sum.Values) || d.Arriving.H != h || len(d.Released) > h {
			return Outcome{}, fmt.Errorf("capacity: need %d paths of %d weeks for %s, have %d of %d", n, h, d.Kind, d.Arriving.N(), d.Arriving.H)
		}
		load.Ready += d.Ready
		for k, v := range d.Arriving.Values {
			sum.Values[k] += v
		}
		for j, v := range d.Released {
			released[j] += v
		}
	}
	var crew Crew
	for _, t := range p.Crew {
		if slices.Contains(who, t.Name) {
			crew = append(crew, t)
		}
	}
	return Backlog(load, sum, crew.Hours(p.Calendar, p.Absences, p.From, h+workOff), released)
}
