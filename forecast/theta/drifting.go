package theta

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// drifting is simple exponential smoothing with half the slope of the line
// through all values as its drift.
type drifting struct {
	ses
	n     int
	drift float64 // a step
	sigma float64 // of a one-step error
	last  float64 // level
}

// newDrifting forecasts x, smoothed by s.
func newDrifting(x []float64, s ses) *drifting {
	steps := make([]float64, len(x))
	for i := range steps {
		steps[i] = float64(i)
	}
	_, slope := stat.LinearRegression(steps, x, nil, false)
	d := &drifting{ses: s, n: len(x), drift: slope / 2, last: s.first}
	sum := 0.0
	for _, v := range x {
		e := v - d.last
		sum += e * e
		d.last += s.alpha * e
	}
	// As in R, of the errors of smoothing alone, less two for its constants.
	d.sigma = math.Sqrt(sum / float64(len(x)-2))
	return d
}

// rise gives the drift's part in the value h steps after t values have been
// smoothed: the level lags behind a slope by (1−(1−α)^t)/α steps.
func (d *drifting) rise(t, h int) float64 {
	return d.drift * (float64(h-1) + (1-math.Pow(1-d.alpha, float64(t)))/d.alpha)
}

func (d *drifting) expected(x []float64) []float64 {
	out := make([]float64, len(x))
	level := d.first
	for t, v := range x {
		out[t] = level + d.rise(t, 1)
		level += d.alpha * (v - level)
	}
	return out
}

func (d *drifting) means(h int) []float64 {
	out := make([]float64, h)
	for j := range out {
		out[j] = d.last + d.rise(d.n, j+1)
	}
	return out
}

func (d *drifting) spread() float64 { return d.sigma }

// respond gives what errors add to the steps that they belong to and, through
// the level, to those after: variances of 1+(h−1)α² (Hyndman and Billah 2003).
func (d *drifting) respond(errors, moved []float64) {
	level := 0.0
	for j, e := range errors {
		moved[j] = level + e
		level += d.alpha * e
	}
}

func (d *drifting) parameters() map[string]float64 {
	return map[string]float64{"alpha": d.alpha, "level": d.last, "drift": d.drift, "sigma": d.sigma}
}
