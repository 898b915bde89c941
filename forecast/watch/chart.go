package watch

import (
	"fmt"
	"math"
)

// CUSUM is the cumulative sum chart in its tabular form (Page 1954;
// NIST/SEMATECH 6.3.2.3): departures beyond Slack either way are added up, and
// a sum above Limit is a signal.
type CUSUM struct {
	Mean  float64 // in control
	Slack float64 // K: half of the shift that should be found
	Limit float64 // H
	Start float64 // both sums' head start, 0 to Limit
}

// Run gives both sums after each value and the index of the first signal, -1
// without one. A missing value (NaN) leaves the sums as they are.
func (c CUSUM) Run(x []float64) (up, down []float64, first int) {
	up, down, first = make([]float64, len(x)), make([]float64, len(x)), -1
	u, d := c.Start, c.Start
	for i, v := range x {
		if !math.IsNaN(v) {
			u = max(0, u+v-c.Mean-c.Slack)
			d = max(0, d+c.Mean-c.Slack-v)
		}
		up[i], down[i] = u, d
		if first < 0 && (u > c.Limit || d > c.Limit) {
			first = i
		}
	}
	return up, down, first
}

// EWMA is the exponentially weighted moving average chart (Roberts 1959;
// NIST/SEMATECH 6.3.2.4): the newest value has weight Lambda, and a signal is
// Width standard deviations of the average off the mean.
type EWMA struct {
	Mean, SD float64 // in control, of one value
	Lambda   float64 // above 0, at most 1
	Width    float64 // L
}

// Run gives the average after each value and the index of the first signal
// beyond the limits that hold from the start, -1 without one. A missing value
// leaves the average as it is.
func (e EWMA) Run(x []float64) (z []float64, first int) {
	z, first = make([]float64, len(x)), -1
	at, seen := e.Mean, 0
	for i, v := range x {
		if !math.IsNaN(v) {
			at += e.Lambda * (v - at)
			seen++
		}
		z[i] = at
		if low, high := e.Limits(seen); first < 0 && seen > 0 && (at < low || at > high) {
			first = i
		}
	}
	return z, first
}

// Limits gives the limits after so many values; those of many values, which
// NIST prints, for 0 or fewer. It panics unless 0 < Lambda <= 1.
func (e EWMA) Limits(values int) (low, high float64) {
	if !(e.Lambda > 0 && e.Lambda <= 1) {
		panic(fmt.Sprintf("watch: need a weight above 0 and at most 1, have %v", e.Lambda))
	}
	grown := 1.0
	if values > 0 {
		grown -= math.Pow(1-e.Lambda, 2*float64(values))
	}
	w := e.Width * e.SD * math.Sqrt(e.Lambda/(2-e.Lambda)*grown)
	return e.Mean - w, e.Mean + w
}
