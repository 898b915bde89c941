package ets

import "math"

// The region that the constants are kept in: the usual one of HKOS (every
// update is a weighted average), a hair inside its edges, and of that the part
// in which old errors are forgotten.
const (
	edge         = 1e-4
	phiLo, phiHi = .8, .98
)

// forgets tells whether the influence of an old error on the forecasts fades,
// for a model with a season of m steps (HKOS, chapter 10, "admissible"). The
// one-step errors are the series through 1/theta(L), where
//
//	theta(L) = (1-phi L)(1-L^m) + (alpha(1-phi L) + beta phi) L S(L) + gamma (1-phi L) L^m, S(L) = 1+...+L^(m-1)
//
// and fade if theta's zeros lie outside the unit circle, which holds if all
// reflection coefficients of the step-down recursion lie inside (-1, 1).
// Without a season or without a trend the usual region has this property.
// work must hold 2(m+2) values.
func forgets(c constants, m int, work []float64) bool {
	d := m + 1
	a, next := work[:d+1], work[d+1:2*(d+1)]
	common := c.alpha*(1-c.phi) + c.beta*c.phi
	for k := range a {
		a[k] = common
	}
	a[0] = 1
	a[1] += c.phi * (c.alpha - 1)
	a[m] += c.gamma - 1
	a[d] = c.phi * (1 - c.alpha - c.gamma)
	for ; d > 0; d-- {
		k := a[d]
		if !(math.Abs(k) < 1) {
			return false
		}
		for i := range d {
			next[i] = (a[i] - k*a[d-i]) / (1 - k*k)
		}
		a, next = next, a
	}
	return true
}
