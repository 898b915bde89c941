package watch

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// An average run length is the mean number of values until the first signal.
// Those of normal values with standard deviation 1 solve an integral equation
// (Crowder 1987; Brook and Evans 1972), here by Gauss-Legendre nodes; those of
// counts a Markov chain, exactly.

// How many nodes: more change the sixth digit of no table that we know.
const (
	cusumNodes = 60
	ewmaNodes  = 80
)

var unit = distuv.UnitNormal

// RunLength gives the average run length of the one-sided upper chart of unit
// normal values whose mean is shift above the chart's. It panics unless Limit
// is above 0 and Start within 0 and Limit.
func (c CUSUM) RunLength(shift float64) float64 {
	if !(c.Limit > 0 && c.Start >= 0 && c.Start <= c.Limit) {
		panic(fmt.Sprintf("watch: need a limit above 0 and a start within it, have %v and %v", c.Limit, c.Start))
	}
	const n = cusumNodes
	z, w := make([]float64, n+1), make([]float64, n+1)
	quad.Legendre{}.FixedLocations(z[1:], w[1:], 0, c.Limit) // z[0] is the sum's atom at 0
	step := func(from float64, row []float64) {
		row[0] = unit.CDF(c.Slack - from - shift)
		for j := 1; j <= n; j++ {
			row[j] = w[j] * unit.Prob(z[j]+c.Slack-from-shift)
		}
	}
	return chain(n+1, func(i int, row []float64) { step(z[i], row) }, func(row []float64) { step(c.Start, row) })
}

// RunLength2 gives the average run length of both sides together, with the
// head start of both (Lucas and Crosier 1982, from memory).
func (c CUSUM) RunLength2(shift float64) float64 {
	zero := c
	zero.Start = 0
	up, down := zero.RunLength(shift), zero.RunLength(-shift)
	if !(down > 0 && down < 1e9) { // never signals, as far as rounding can tell
		if c.Start == 0 {
			return up
		}
		return c.RunLength(shift)
	}
	if c.Start == 0 {
		return 1 / (1/up + 1/down)
	}
	return (c.RunLength(shift)*down + c.RunLength(-shift)*up - up*down) / (up + down)
}

// LimitFor gives the limit at which a two-sided chart with this slack has the
// average run length in control. It panics unless slack is above 0 and length
// above 2.
func LimitFor(slack, length float64) float64 {
	if !(slack > 0 && length > 2) {
		panic(fmt.Sprintf("watch: need a slack above 0 and a run length above 2, have %v and %v", slack, length))
	}
	lo, hi := 0.0, 1.0
	for (CUSUM{Slack: slack, Limit: hi}).RunLength2(0) < length {
		lo, hi = hi, 2*hi
	}
	for hi-lo > 1e-6 {
		if mid := (lo + hi) / 2; (CUSUM{Slack: slack, Limit: mid}).RunLength2(0) < length {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// RunLength gives the average run length with the limits of many values, of
// values whose mean is shift standard deviations off (Lucas and Saccucci 1990).
func (e EWMA) RunLength(shift float64) float64 {
	const n = ewmaNodes
	_, h := EWMA{SD: 1, Lambda: e.Lambda, Width: e.Width}.Limits(0)
	z, w := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(z, w, -h, h)
	step := func(from float64, row []float64) {
		for j := range row {
			row[j] = w[j] / e.Lambda * unit.Prob((z[j]-(1-e.Lambda)*from)/e.Lambda-shift)
		}
	}
	return chain(n, func(i int, row []float64) { step(z[i], row) }, func(row []float64) { step(0, row) })
}

// PoissonCUSUM is the chart of Poisson counts (Lucas 1985): the sum
// max(0, C+y-Reference) signals at Limit or above.
type PoissonCUSUM struct{ Reference, Limit, Start int }

// ReferenceFor gives the reference value that tells a mean from a greater (or
// smaller) one soonest; round it to a whole number or scale the counts.
func ReferenceFor(mean, other float64) float64 { return (other - mean) / math.Log(other/mean) }

// Run gives the sum after each count and the index of the first signal, -1
// without one.
func (c PoissonCUSUM) Run(y []int) (sums []int, first int) {
	sums, first = make([]int, len(y)), -1
	at := c.Start
	for i, v := range y {
		at = max(0, at+v-c.Reference)
		sums[i] = at
		if first < 0 && at >= c.Limit {
			first = i
		}
	}
	return sums, first
}

// RunLength gives the average run length at a mean. It panics unless Limit is
// above 0 and Start from 0 to below Limit.
func (c PoissonCUSUM) RunLength(mean float64) float64 {
	if c.Limit < 1 || c.Start < 0 || c.Start >= c.Limit {
		panic(fmt.Sprintf("watch: need a limit above 0 and a start below it, have %d and %d", c.Limit, c.Start))
	}
	d := forecast.NegBin{Mu: mean, Size: math.Inf(1)}
	step := func(from int, row []float64) {
		row[0] = d.CDF(float64(c.Reference - from))
		for j := 1; j < len(row); j++ {
			row[j] = math.Exp(d.LogProb(float64(j - from + c.Reference)))
		}
	}
	return chain(c.Limit, step, func(row []float64) { step(c.Start, row) })
}

// chain gives the mean number of steps until a chain of n states leaves them:
// row fills the chances of a step from state i to each state, start those of
// the first step.
func chain(n int, row func(i int, to []float64), start func(to []float64)) float64 {
	a := mat.NewDense(n, n, nil)
	one := mat.NewVecDense(n, nil)
	for i := range n {
		to := a.RawRowView(i)
		row(i, to)
		for j := range to {
			to[j] = -to[j]
		}
		to[i]++
		one.SetVec(i, 1)
	}
	var l mat.VecDense
	// The error is of an ill-conditioned system, which it is only where the
	// chain hardly ever leaves: the length is then huge, as it comes out.
	_ = l.SolveVec(a, one)
	first := make([]float64, n)
	start(first)
	return 1 + mat.Dot(mat.NewVecDense(n, first), &l)
}
