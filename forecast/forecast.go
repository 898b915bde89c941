// Package forecast holds the nouns that every forecast is made of, and the
// ways of scoring one.
//
// A [Model] is a recipe, a [Fit] is a model estimated on one [Series], a
// [Forecast] is its future: three things, never one object with modes. A Fit
// answers in two ways: Forecast gives one distribution a step, Simulate gives
// joint futures. Anything that adds up over weeks, such as a backlog, must use
// the joint ones, since the sum of quantiles isn't the quantile of the sum.
//
// The package refuses to do I/O, to read the clock and to use global
// randomness: dates and random sources are arguments. Doubts that don't
// prevent an answer are values in Warnings, not errors and not log lines.
//
// To use it: make a Series, choose a Model from a package below this one, Fit
// it, then ask for Forecast or Simulate. [Backtest] tells how good such
// forecasts were on the same history.
package forecast

import "math/rand/v2"

// A Model is a recipe for forecasts: settings, never data. Fit neither keeps
// nor changes the series. String names the model and its settings, for people.
type Model interface {
	String() string
	Fit(Series) (Fit, error)
}

// A Fit is a model estimated on one series.
type Fit interface {
	// Fitted gives, for each step of the series, the mean that was expected
	// for it before it was seen, NaN where the model had none.
	Fitted() []float64
	// Forecast gives the distributions of the next h steps after the series.
	// It panics if h < 1.
	Forecast(h int) Forecast
	// Simulate draws n joint futures of h steps. The same state of rng gives
	// the same paths. It panics if h < 1 or n < 1.
	Simulate(h, n int, rng *rand.Rand) Paths
}

// Describer is a Fit that can tell its estimated parameters by name.
type Describer interface {
	Parameters() map[string]float64
}

// Likelihood is a Fit with a log-likelihood and a corrected Akaike criterion.
type Likelihood interface {
	LogLik() float64
	AICc() float64
}

// Forecast is the future of one series: one distribution a step.
type Forecast struct {
	Start    Date // first day of the first step
	Step     int  // days
	Dists    []Dist
	Warnings []error
}

// Means gives the mean of each step.
func (f Forecast) Means() []float64 {
	out := make([]float64, len(f.Dists))
	for i, d := range f.Dists {
		out[i] = d.Mean()
	}
	return out
}

// Quantiles gives the p-quantile of each step.
func (f Forecast) Quantiles(p float64) []float64 {
	out := make([]float64, len(f.Dists))
	for i, d := range f.Dists {
		out[i] = d.Quantile(p)
	}
	return out
}

// Decomposition splits a series into parts that sum (or, if Multiplicative,
// multiply) back to it. Steps without an estimate are NaN.
type Decomposition struct {
	Trend, Seasonal, Remainder Series
	Multiplicative             bool
	Warnings                   []error
}
