package watch

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// Scan asks how likely it is that somewhere within a span some window holds K
// events of the same kind, when they come at random: the scan statistic. The
// chance of one given window says far too little, as a span has many.
type Scan struct {
	K      int     // events within a window, 2 or more
	Window float64 // days
	Span   float64 // days watched, at least two windows
}

// Naus gives the chance at a rate of so many events a day, by Q2 and Q3
// (Naus 1982). It panics unless K >= 2, Span >= 2 Window > 0 and rate >= 0.
func (s Scan) Naus(rate float64) float64 {
	s.check(rate)
	if rate == 0 {
		return 0
	}
	k, psi := float64(s.K), rate*s.Window
	d := forecast.NegBin{Mu: psi, Size: math.Inf(1)}
	p := func(j float64) float64 { return math.Exp(d.LogProb(j)) }
	F := d.CDF
	q2 := F(k-1)*F(k-1) - (k-1)*p(k)*p(k-2) - (k-1-psi)*p(k)*F(k-3)
	a1 := 2 * p(k) * F(k-1) * ((k-1)*F(k-2) - psi*F(k-3))
	a2 := .5 * p(k) * p(k) * ((k-1)*(k-2)*F(k-3) - 2*(k-2)*psi*F(k-4) + psi*psi*F(k-5))
	a3, a4 := 0.0, 0.0
	for r := 1.0; r < k; r++ {
		a3 += p(2*k-r) * F(r-1) * F(r-1)
		if r >= 2 {
			a4 += p(2*k-r) * p(r) * ((r-1)*F(r-2) - psi*F(r-3))
		}
	}
	q3 := F(k-1)*F(k-1)*F(k-1) - a1 + a2 + a3 - a4
	if q2 <= 0 || q3 <= 0 { // K is what a window usually has
		return 1
	}
	return max(0, min(1, 1-q2*math.Pow(q3/q2, s.Span/s.Window-2)))
}

// Alm gives the chance at a rate of so many events a day (Alm 1983). It panics
// as Naus does.
func (s Scan) Alm(rate float64) float64 {
	s.check(rate)
	k, psi := float64(s.K), rate*s.Window
	if psi >= k { // K is what a window usually has
		return 1
	}
	d := forecast.NegBin{Mu: psi, Size: math.Inf(1)}
	return 1 - d.CDF(k-1)*math.Exp(-(1-psi/k)*rate*(s.Span-s.Window)*math.Exp(d.LogProb(k-1)))
}

// Fixed gives the chance when it is known that n events came in the span,
// which is exact for K > n/2 (Wallenstein and Neff 1987) and near for small
// chances. It panics unless 2 <= K <= n and 0 < Window < Span.
func (s Scan) Fixed(n int) float64 {
	if s.K < 2 || s.K > n || !(s.Window > 0 && s.Window < s.Span) {
		panic(fmt.Sprintf("watch: need 2 or more of all %d events and a window within the span, have %d and %v of %v days", n, s.K, s.Window, s.Span))
	}
	k, w := float64(s.K), s.Window/s.Span
	b := distuv.Binomial{N: float64(n), P: w}
	return min(1, (k/w-float64(n)-1)*b.Prob(k)+2*b.Survival(k-1))
}

func (s Scan) check(rate float64) {
	if s.K < 2 || !(s.Window > 0 && s.Span >= 2*s.Window && rate >= 0) {
		panic(fmt.Sprintf("watch: need 2 or more events, a span of two windows and a rate, have %d, %v of %v days and %v", s.K, s.Window, s.Span, rate))
	}
}
