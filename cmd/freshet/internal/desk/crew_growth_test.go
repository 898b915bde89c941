package desk

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Jobs quoted at their hours but for an error: with hours and errors lognormal,
// growth goes with the quote by -var(error)/(var(hours)+var(error)), as in any
// regression on a measurement with error (Fuller 1987, Measurement Error Models,
// section 1.1; from memory).
func TestGrowthGoesWithTheQuote(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	var jobs []visit
	job := func(kind int, hours, quoted float64) {
		jobs = append(jobs, visit{kind: kind, clocked: hours, quoted: quoted})
	}
	for range 20000 {
		hours := math.Exp(1 + .8*rng.NormFloat64())
		job(0, hours, hours*math.Exp(.4*rng.NormFloat64()))
		// Three times as long, and quoted right: kinds apart are no relation.
		exact := 3 * math.Exp(1+.8*rng.NormFloat64())
		job(1, exact, exact)
	}
	job(2, 8, 2) // one job alone follows the shop
	lean := learnGrowth(jobs, 4)
	if want := -.16 / (.64 + .16); math.Abs(lean[0]-want) > .01 {
		t.Errorf("want %v, have %.3f", want, lean[0])
	}
	if math.Abs(lean[1]) > .001 {
		t.Errorf("of right quotes want 0, have %.4f", lean[1])
	}
	if shop := lean[3]; lean[2] != shop || shop > -.05 || shop < -.15 {
		t.Errorf("want a kind with one job to follow the shop, as one without, have %v", lean)
	}
	// Ten jobs' worth of doubt: of ten with a spread of e the relation counts by
	// half for the shop, and by half again beyond that.
	jobs = nil
	for i := range 10 {
		q := math.Exp(float64(i%2)*2 - 1)
		job(0, math.Sqrt(q), q) // a slope of -.5
	}
	if have := learnGrowth(jobs, 1)[0]; math.Abs(have+.375) > 1e-9 {
		t.Errorf("want -.375, have %v", have)
	}
}
