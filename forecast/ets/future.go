package ets

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// Forecast gives the next h steps. With additive errors they are normal, with
// the exact variance sigma² (1 + c_1² + ... + c_(j-1)²), where c_j = alpha +
// beta (phi + ... + phi^j), plus gamma where j is a whole number of seasons
// (HKOS, table 6.2). Otherwise the mean is that of the recursion without
// errors, within the bounds that Simulate states, and quantiles are those of
// 2,000 paths whose errors are stratified: the same at every call, and the
// first steps the same whatever h. It panics if h < 1.
func (f *Fit) Forecast(h int) forecast.Forecast {
	means := forecast.NewPaths(f.next, f.step, h, 1) // panics if h < 1
	mean := means.Path(0)
	f.walk(mean, f.scratch(), func(int) float64 { return 0 })
	out := forecast.Forecast{Start: f.next, Step: f.step, Dists: make([]forecast.Dist, h)}
	switch {
	case f.sigma == 0:
		for j, v := range mean {
			out.Dists[j] = forecast.Point(v)
		}
	case f.model.Error == Additive:
		for j, v := range f.variances(h) {
			out.Dists[j] = distuv.Normal{Mu: mean[j], Sigma: math.Sqrt(v)}
		}
	default:
		paths := f.stratified(h)
		for j, v := range mean {
			out.Dists[j] = around{paths.Dist(j), v}
		}
	}
	out.Warnings = append(out.Warnings, f.warnings...)
	return out
}

// around is a distribution whose mean is known better than by its draws.
type around struct {
	forecast.Dist
	mean float64
}

func (a around) Mean() float64 { return a.mean }

// variances gives the forecast variances of a model with additive errors.
func (f *Fit) variances(h int) []float64 {
	c, lag := f.constants, len(f.first.season)
	out := make([]float64, h)
	sum, fade, faded := 1., 1., 0.
	for j := range out {
		out[j] = f.sigma * f.sigma * sum
		fade *= c.phi
		faded += fade
		effect := c.alpha + c.beta*faded
		if lag > 0 && (j+1)%lag == 0 {
			effect += c.gamma
		}
		sum += effect * effect
	}
	return out
}

// Simulate draws joint paths by the recursion with normal errors. Relative
// errors stop short of -1, and the means of models of positive values stay
// between a thousandth of the least value seen and a million times the
// largest, so that paths neither turn negative nor overflow. It panics if
// h < 1 or n < 1.
func (f *Fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := forecast.NewPaths(f.next, f.step, h, n)
	season := f.scratch()
	for i := range n {
		f.walk(p.Path(i), season, func(int) float64 { return f.sigma * rng.NormFloat64() })
	}
	return p
}

// stratified draws the paths behind Forecast: at each step the paths share out
// the normal quantiles (k-1/2)/n among them, in an order of that step's own
// (Latin hypercube sampling, McKay, Beckman and Conover 1979).
func (f *Fit) stratified(h int) forecast.Paths {
	const n = 2000
	scores := make([]float64, n)
	for k := range scores {
		scores[k] = f.sigma * distuv.UnitNormal.Quantile((float64(k)+.5)/n)
	}
	errors := make([]float64, h*n)
	pcg := rand.NewPCG(0, 0)
	rng := rand.New(pcg)
	for j := range h {
		pcg.Seed(20080101, uint64(j))
		rng.Shuffle(n, func(a, b int) { scores[a], scores[b] = scores[b], scores[a] })
		for i, v := range scores {
			errors[i*h+j] = v
		}
	}
	p := forecast.NewPaths(f.next, f.step, h, n)
	season := f.scratch()
	for i := range n {
		own := errors[i*h : (i+1)*h]
		f.walk(p.Path(i), season, func(j int) float64 { return own[j] })
	}
	return p
}

// scratch gives room for the seasonals of a walk.
func (f *Fit) scratch() []float64 { return make([]float64, len(f.first.season)) }

// walk fills path with one future whose errors are given by step, relative
// ones if they multiply. season is scratch.
func (f *Fit) walk(path, season []float64, err func(j int) float64) {
	copy(season, f.last.season)
	c, l, b, place := f.constants, f.last.level, f.last.slope, f.phase
	relative, times := f.model.Error == Multiplicative, f.model.Season == Multiplicative
	bound := func(v float64) float64 { return min(f.high, max(f.low, v)) }
	for j := range path {
		s := 0.
		if len(season) > 0 {
			s = season[place]
		}
		e, q := err(j), l+c.phi*b
		mean := q + s
		if times {
			q = bound(q)
			mean = q * s
		}
		mean = bound(mean)
		if relative {
			e = mean * max(-1, e)
		}
		path[j] = mean + e
		u, w := e, e
		if times {
			u, w = e/s, e/q
		}
		l = q + c.alpha*u
		b = c.phi*b + c.beta*u
		if len(season) > 0 {
			season[place] = s + c.gamma*w
			if place++; place == len(season) {
				place = 0
			}
		}
	}
}
