package demo

import (
	"math"
	"math/rand/v2"
	"slices"
)

// kinds gives the shop's job kinds: the usual ones, or as its region and the
// shop itself depart from them.
func (s Spec) kinds() []kind {
	if s.Region == 0 {
		return kinds
	}
	region, own := rand.New(rand.NewPCG(s.Region, 3)), rand.New(rand.NewPCG(s.Seed, 3))
	out := slices.Clone(kinds)
	size := math.Exp(.25 * own.NormFloat64()) // some shops are twice as large as others
	late, its := 20*region.NormFloat64(), 5*own.NormFloat64()
	for i := range out {
		k := &out[i]
		k.weekly *= size * math.Exp(.15*region.NormFloat64()+.2*own.NormFloat64())
		k.hours *= math.Exp(.1*region.NormFloat64() + .1*own.NormFloat64())
		k.bumps = slices.Clone(k.bumps)
		for j := range k.bumps {
			k.bumps[j].day += late + its
			k.bumps[j].height *= math.Exp(.3*region.NormFloat64() + .12*own.NormFloat64())
		}
		k.scale()
	}
	return out
}

// more are those whom a shop hires that has more work than Quillback Bend.
var more = []string{"Edlin", "Farro", "Gesa", "Hadric", "Ilsabe", "Jorun"}

// asMany gives as many of the crew, or more than them, as the shop has work for.
func (s Spec) asMany(crew []Technician) []Technician {
	usual, has := 0.0, 0.0
	for i, k := range s.kinds() {
		usual += kinds[i].weekly * kinds[i].hours
		has += k.weekly * k.hours
	}
	n := max(3, min(len(crew)+len(more), int(math.Round(float64(len(crew))*has/usual))))
	for i := range max(0, n-len(crew)) {
		crew = append(crew, Technician{Name: more[i], WeeklyHours: 40, Productivity: .85, Skills: "all", HourlyCost: 29})
	}
	return crew[:n]
}
