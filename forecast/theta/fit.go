package theta

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// engine forecasts season-free values with independent normal errors that
// later values feel linearly.
type engine interface {
	expected(x []float64) []float64 // one-step forecasts of the history x
	means(h int) []float64          // of the next h steps
	spread() float64                // standard deviation of the errors
	respond(errors, moved []float64)
	parameters() map[string]float64
}

// fit is an engine with the season put back.
type fit struct {
	engine   engine
	start    forecast.Date
	days     int
	n        int // steps of history
	season   season
	fitted   []float64
	warnings []error
}

// Fitted gives the mean that was expected one step ahead, with the estimated
// constants and season.
func (f *fit) Fitted() []float64 { return slices.Clone(f.fitted) }

// Forecast gives normal distributions, or points where there were no errors.
// Standard deviations are times the season if that is multiplicative.
func (f *fit) Forecast(h int) forecast.Forecast {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step, have %d", h))
	}
	variance, one, moved := make([]float64, h), make([]float64, h), make([]float64, h)
	for j := range one {
		one[j] = 1
		f.engine.respond(one, moved)
		one[j] = 0
		for i := j; i < h; i++ {
			variance[i] += moved[i] * moved[i]
		}
	}
	out := forecast.Forecast{Start: f.start, Step: f.days, Dists: make([]forecast.Dist, h), Warnings: slices.Clone(f.warnings)}
	for i, v := range f.engine.means(h) {
		mu, sd := f.season.add(f.n+i, v), f.engine.spread()*math.Sqrt(variance[i])*f.season.scale(f.n+i)
		if out.Dists[i] = forecast.Point(mu); sd > 0 {
			out.Dists[i] = distuv.Normal{Mu: mu, Sigma: sd}
		}
	}
	return out
}

// Simulate draws the errors; each moves the later steps of its path.
func (f *fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := forecast.NewPaths(f.start, f.days, h, n)
	means, sd, errors := f.engine.means(h), f.engine.spread(), make([]float64, h)
	for i := range n {
		for j := range errors {
			errors[j] = sd * rng.NormFloat64()
		}
		path := p.Path(i)
		f.engine.respond(errors, path)
		for j, v := range means {
			path[j] = f.season.add(f.n+j, v+path[j])
		}
	}
	return p
}

// Parameters gives, season taken out, alpha, the smoothing constant; level,
// the last one; sigma, the standard deviation of a one-step error; drift, the
// slope's part a step; for Optimised also theta, the line's weight being
// 1−1/theta; and period, the steps in the season, 1 if there is none.
func (f *fit) Parameters() map[string]float64 {
	out := f.engine.parameters()
	out["period"] = float64(max(1, len(f.season.figure)))
	return out
}
