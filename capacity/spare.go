package capacity

import "freshet/forecast"

// Spared is a week of a plan as it is, and as it would be with one typical
// technician off for all of it, or one more who does all kinds. Chances are that
// more work comes in than the crew then has hours, 0 to 1.
type Spared struct {
	Monday forecast.Date
	Hours  float64 // on jobs of the technician
	Chance float64 // with one fewer
	Spares bool    // whether that is within what the owner puts up with, and the backlog too
	Now    float64 // chance as it is
	Short  bool    // whether that is more than the owner puts up with
	Helped float64 // chance with one more
}

// spare tells of each of the plan's weeks whether it can spare a typical
// technician, by the measure of TimeOff, or needs one.
func (a *adviser) spare() []Spared {
	all := make([]Spared, len(a.out.Weeks))
	for j, w := range a.out.Weeks {
		h := a.usualHours(j)
		now := a.whole.ChanceShort[j]
		all[j] = Spared{Monday: w.Monday, Hours: h, Chance: a.chanceWithout(j, h), Spares: a.spares(j, h), Now: now, Short: now > a.LimitChance, Helped: a.whole.chanceHelped(j, h)}
	}
	return all
}

// chanceHelped gives the chance that more hours arrive in week j than there are
// of those who can work on them, and of one more for so many hours who can work
// on any: that makes each of the sets of kinds that may be short so much less so.
func (o Outcome) chanceHelped(j int, more float64) float64 {
	short := 0
	for i := range o.Short.N() {
		if o.Short.Path(i)[j]-more > enough {
			short++
		}
	}
	return float64(short) / float64(o.Short.N())
}
