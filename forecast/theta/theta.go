// Package theta forecasts by the Theta method: exponential smoothing of the
// season-free values with half the slope of the straight line through them.
//
// It is hard to beat on short business series, and won the M3 competition
// (Assimakopoulos and Nikolopoulos 2000; in this form Hyndman and Billah
// 2003). The numbers are those of R's forecast::thetaf, but for two things:
// the ranges follow the season, wide where it is high, and values of 0 or less
// get an additive season in place of a refusal.
//
// The package refuses a history less than half observed. It knows no events,
// no changing season and no season that isn't a whole number of steps: weeks
// are taken as 52 a year. Its ranges hold the pile-up of errors, not the
// uncertainty of the slope, the season or the smoothing constant.
//
// To use it: fit Model{}, then ask for Forecast or Simulate.
package theta

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// Model is the Theta method. It has no settings.
type Model struct{}

// String names the model.
func (Model) String() string { return "theta method" }

// least is the number of values needed for a variance that means something.
const least = 4

// Fit finds whether there is a season, takes it out, and finds the smoothing
// constant and first level of maximum likelihood. It returns an error if the
// series fails Check or is less than half observed, and a *[forecast.TooShort]
// if it has fewer than 4 observed values.
func (m Model) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	seen := s.Observed()
	if seen < least {
		return nil, &forecast.TooShort{Model: m.String(), Need: least, Have: seen}
	}
	if 2*seen < s.Len() {
		return nil, fmt.Errorf("forecast: %s needs half of %d steps observed, have %d", m, s.Len(), seen)
	}
	season, warnings, err := findSeason(s)
	if err != nil {
		return nil, err
	}
	x := season.remove(s.Fill())
	f := newFit(x, smooth(x))
	f.start, f.days, f.season, f.warnings = s.End(), s.Step, season, warnings
	f.fitted = f.expected(x)
	if n := s.Len() - seen; n > 0 {
		f.warnings = append(f.warnings, fmt.Errorf("forecast: %s: %d steps not observed were bridged by straight lines", m, n))
	}
	return f, nil
}

// fit is simple exponential smoothing with drift on season-free values.
type fit struct {
	ses
	start    forecast.Date
	days     int
	n        int
	drift    float64 // half the slope of the straight line, a step
	sigma    float64 // of a one-step error
	last     float64 // level
	season   season
	fitted   []float64
	warnings []error
}

// newFit gives the forecast's parts on season-free values x, smoothed by s.
func newFit(x []float64, s ses) *fit {
	steps := make([]float64, len(x))
	for i := range steps {
		steps[i] = float64(i)
	}
	_, slope := stat.LinearRegression(steps, x, nil, false)
	f := &fit{ses: s, n: len(x), drift: slope / 2, last: s.first}
	sum := 0.0
	for _, v := range x {
		e := v - f.last
		sum += e * e
		f.last += s.alpha * e
	}
	f.sigma = math.Sqrt(sum / float64(len(x)-2))
	return f
}

// rise gives the drift's part in the value h steps after t values have been
// smoothed: the level lags behind a slope by (1−(1−α)^t)/α steps.
func (f *fit) rise(t, h int) float64 {
	return f.drift * (float64(h-1) + (1-math.Pow(1-f.alpha, float64(t)))/f.alpha)
}

// expected gives the one-step forecasts of x, season put back.
func (f *fit) expected(x []float64) []float64 {
	out := make([]float64, len(x))
	level := f.first
	for t, v := range x {
		out[t] = f.season.add(t, level+f.rise(t, 1))
		level += f.alpha * (v - level)
	}
	return out
}

// Fitted gives the mean that was expected one step ahead, with the estimated
// constants, slope and season.
func (f *fit) Fitted() []float64 { return slices.Clone(f.fitted) }

// mean gives the season-free mean h steps ahead.
func (f *fit) mean(h int) float64 { return f.last + f.rise(f.n, h) }

// Forecast gives normal distributions, of standard deviation σ√(1+(h−1)α²)
// (Hyndman and Billah 2003) times the season if that is multiplicative.
func (f *fit) Forecast(h int) forecast.Forecast {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step, have %d", h))
	}
	out := forecast.Forecast{Start: f.start, Step: f.days, Dists: make([]forecast.Dist, h), Warnings: slices.Clone(f.warnings)}
	for i := range h {
		sd := f.sigma * math.Sqrt(1+float64(i)*f.alpha*f.alpha)
		mu := f.season.add(f.n+i, f.mean(i+1))
		out.Dists[i] = distuv.Normal{Mu: mu, Sigma: sd * f.season.scale(f.n+i)}
	}
	return out
}

// Simulate draws the errors, each of which moves the level of all later steps.
func (f *fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := forecast.NewPaths(f.start, f.days, h, n)
	means := make([]float64, h)
	for j := range means {
		means[j] = f.mean(j + 1)
	}
	for i := range n {
		path, moved := p.Path(i), 0.0
		for j := range path {
			e := f.sigma * rng.NormFloat64()
			path[j] = f.season.add(f.n+j, means[j]+moved+e)
			moved += f.alpha * e
		}
	}
	return p
}

// Parameters gives alpha, the smoothing constant; level, the last one, season
// taken out; drift a step; sigma, the standard deviation of a one-step error,
// season taken out; and period, the steps in the season, 1 if there is none.
func (f *fit) Parameters() map[string]float64 {
	return map[string]float64{"alpha": f.alpha, "level": f.last, "drift": f.drift, "sigma": f.sigma,
		"period": float64(max(1, len(f.season.figure)))}
}
