package counts

import (
	"fmt"
	"math"
	"math/rand/v2"

	"freshet/forecast"

	"gonum.org/v1/gonum/floats"
)

// future holds the regression's rows for h steps after the history, the known
// parts, and whether anything can happen at all.
type future struct {
	x      []float64
	offset []float64
	beside []float64 // what stands beside the rows
	open   []bool
}

func (f *Fit) future(h int) future {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step, have %d", h))
	}
	p := len(f.beta)
	out := future{x: make([]float64, h*p), offset: make([]float64, h), beside: make([]float64, h), open: make([]bool, h)}
	for j := range h {
		out.beside[j] = f.model.row(out.x[j*p:(j+1)*p], f.series, f.n+j)
		exposure, offset := f.model.known(f.series, f.n+j)
		out.open[j] = exposure > 0
		if out.open[j] {
			out.offset[j] = offset
		}
	}
	return out
}

// maxSpread bounds the standard deviation of a log mean: beyond a factor of
// some hundred either way, wider says nothing more.
const maxSpread = 2.5

// Forecast gives each step's distribution: negative binomial, mixed over the
// normal posterior of the log mean.
func (f *Fit) Forecast(h int) forecast.Forecast {
	fu := f.future(h)
	p := len(f.beta)
	out := forecast.Forecast{Start: f.series.At(f.n), Step: f.series.Step, Dists: make([]forecast.Dist, h), Warnings: f.warnings}
	x := make([]float64, p)
	r := 1.0
	for j := range h {
		r *= f.scales.rho
		if !fu.open[j] {
			out.Dists[j] = forecast.Point(0)
			continue
		}
		mean := fu.offset[j] + fu.beside[j] + r*f.last
		for i, b := range f.beta {
			v := fu.x[j*p+i]
			mean += v * b
			x[i] = v - r*f.pull[i]
		}
		variance := r*r*f.lastV + f.scales.sigma*f.scales.sigma*(1-r*r)
		f.chol.solveTransposed(x)
		for _, v := range x {
			variance += v * v
		}
		bend := f.bend(f.n + j)
		mean, variance = mean+bend, variance+2*bend*bend // of a square of a normal
		out.Dists[j] = newMixture(mean, math.Sqrt(variance), f.scales.size)
	}
	return out
}

// Simulate draws coefficients and level from the posterior, then the level's
// way, then counts: one path across all steps.
func (f *Fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	out := f.Means(h, n, rng)
	for i, mu := range out.Values {
		out.Values[i] = draw(rng, mu, f.scales.size)
	}
	return out
}

// Size gives the roughness of the counts around their mean: the negative
// binomial's size.
func (f *Fit) Size() float64 { return f.scales.size }

// Season gives by how many times the season alone raises the mean of a step,
// counted from the first one after the history, which may lie between two: 1 is
// the level of the long run, and without a season it is 1 throughout.
func (f *Fit) Season(step float64) float64 {
	season := make([]float64, len(f.season))
	harmonics(season, f.series.Phase(f.n)+step/f.series.Period)
	return math.Exp(floats.Dot(season, f.beta[1:1+len(season)]))
}

// Means draws n joint futures of the mean, h steps each, without the counts'
// own roughness.
func (f *Fit) Means(h, n int, rng *rand.Rand) forecast.Paths {
	out := forecast.NewPaths(f.series.At(f.n), f.series.Step, h, n)
	fu := f.future(h)
	p := len(f.beta)
	b := make([]float64, p)
	noise := f.scales.sigma * math.Sqrt(1-f.scales.rho*f.scales.rho)
	place := f.placing(h)
	for i := range n {
		// The precision is U'U, so U⁻¹z has the posterior's covariance.
		for j := range b {
			b[j] = rng.NormFloat64()
		}
		f.chol.solve(b)
		u := f.last + math.Sqrt(f.lastV)*rng.NormFloat64()
		for j := range b {
			u -= f.pull[j] * b[j]
			b[j] += f.beta[j]
		}
		path := out.Path(i)
		for t := range path {
			u = f.scales.rho*u + noise*rng.NormFloat64()
			if !fu.open[t] {
				continue
			}
			row := fu.x[t*p : (t+1)*p]
			place(row, t, b)
			eta := fu.offset[t] + u + floats.Dot(row, b)
			path[t] = math.Exp(max(-30, min(eta, 35)))
		}
	}
	return out
}

// placing gives what puts the season of a row of the future where a path's
// coefficients say, of steps counted from the first after the history.
func (f *Fit) placing(h int) func(row []float64, t int, beta []float64) {
	y := f.model.years
	if y == nil {
		return func([]float64, int, []float64) {}
	}
	length := days(f.series)
	cycles, at := make([]float64, h), make([]int, h)
	for t := range h {
		cycles[t] = f.series.Phase(f.n + t)
		at[t] = f.model.delay(f.series.Period, y.of(cycles[t]))
	}
	return func(row []float64, t int, beta []float64) {
		row[at[t]] = 0 // of it no slope is left to be taken
		harmonics(row[1:1+len(f.season)], cycles[t]-beta[at[t]]/length)
	}
}

// bend gives by how much a step's log mean lies above what its row says, in the
// mean over the days that its year may be late: the Taylor series' second term.
func (f *Fit) bend(i int) (bend float64) {
	y := f.model.years
	if y == nil {
		return 0
	}
	cycles, length := f.series.Phase(i), days(f.series)
	of := y.of(cycles)
	season := make([]float64, len(f.season))
	harmonics(season, cycles-y.late[of]/length)
	for j, v := range season {
		w := 2 * math.Pi * float64(j/2+1) / length
		bend -= w * w * v * f.beta[1+j]
	}
	e, variance := make([]float64, len(f.beta)), 0.0
	e[f.model.delay(f.series.Period, of)] = 1
	f.chol.solveTransposed(e)
	for _, v := range e {
		variance += v * v
	}
	return bend * variance / 2
}
