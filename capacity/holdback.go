package capacity

import (
	"fmt"
	"math"

	"freshet/forecast"

	"gonum.org/v1/gonum/mathext"
)

// Emergencies is the distribution of the hours that emergencies bring in a
// week: a Poisson number of jobs with gamma hours. Its 80 % quantile is a fair
// number of hours to hold back from promises; release the rest late in the
// week. A Plan doesn't take it off: emergencies are among the arriving hours.
type Emergencies struct {
	PerWeek float64 // mean number a week, 0 or more
	Hours   float64 // mean hours of one, above 0
	SD      float64 // standard deviation of those hours, above 0
}

var _ forecast.Dist = Emergencies{}

// Mean gives the mean hours a week.
func (e Emergencies) Mean() float64 { return e.PerWeek * e.Hours }

// CDF gives the chance of at most x hours, summed over the number of jobs; the
// hours of k jobs are gamma with k times the shape. It panics if a field is
// out of its range.
func (e Emergencies) CDF(x float64) float64 {
	if !(e.PerWeek >= 0 && e.PerWeek < 700 && e.Hours > 0 && e.SD > 0) {
		panic(fmt.Sprintf("capacity: need 0 to 700 emergencies a week of hours and deviation above 0, have %+v", e))
	}
	if x < 0 {
		return 0
	}
	shape, scale := e.Hours*e.Hours/(e.SD*e.SD), e.SD*e.SD/e.Hours
	p := math.Exp(-e.PerWeek) // of k jobs
	sum, left := p, 1-p
	for k := 1.0; left > 1e-14 && (p > 1e-17 || k < e.PerWeek); k++ {
		p *= e.PerWeek / k
		left -= p
		sum += p * mathext.GammaIncReg(k*shape, x/scale)
	}
	return min(1, sum)
}

// Quantile gives the least hours x with CDF(x) >= p, to a millionth of an
// hour. At p = 1 it stops at what all but 1e-9 of the weeks lie below.
func (e Emergencies) Quantile(p float64) float64 {
	p = min(p, 1-1e-9)
	lo, hi := 0.0, e.Mean()+e.Hours
	if e.CDF(0) >= p {
		return 0
	}
	for e.CDF(hi) < p {
		lo, hi = hi, 2*hi
	}
	for hi-lo > 1e-6 {
		if mid := (lo + hi) / 2; e.CDF(mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}
