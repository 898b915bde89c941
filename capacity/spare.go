package capacity

import "freshet/forecast"

// Spared is a week of a plan as it would be with one typical technician off
// for all of it.
type Spared struct {
	Monday forecast.Date
	Hours  float64 // on jobs that would be gone
	Chance float64 // that more work comes in than the crew then has hours, 0 to 1
	Spares bool    // whether that is within what the owner puts up with, and the backlog too
}

// Spare tells of each of the plan's weeks whether it can spare a typical
// technician, by the measure of TimeOff. It returns the errors of Plan.Outcome.
func Spare(p Plan) ([]Spared, error) {
	out, err := p.Outcome()
	if err != nil {
		return nil, err
	}
	a := &adviser{Policy: p.policy(), whole: out}
	a.adopt(p, out)
	all := make([]Spared, len(out.Weeks))
	for j, w := range out.Weeks {
		h := a.usualHours(j)
		all[j] = Spared{w.Monday, h, a.chanceWithout(j, h), a.spares(j, h)}
	}
	return all, nil
}
