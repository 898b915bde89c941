package harmonic

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// fit is a Model estimated on a series. Given the autoregression, the
// coefficients and the errors' variance have their exact joint posterior
// under a flat prior (a ridge being a normal one): the future is Student's t.
type fit struct {
	design    *design
	log       bool
	candidate candidate
	coef      []float64
	root      *mat.Dense // U: coefficients spread as σUz
	sigma     float64
	df        float64 // degrees of freedom of σ
	fitted    []float64
	filter    filter // before the first future step
	// The filter's state before the first future step: of the values less the
	// regression, and of each column.
	errors  partials
	columns []partials
}

// finish reads the solution of the last Solve.
func (s *search) finish(c candidate) *fit {
	q := s.d.cols(c.harmonics)
	f := &fit{design: s.d, candidate: c, coef: s.solver.Coef(nil), root: s.solver.Root(), filter: s.filter}
	f.df = float64(s.n - s.d.cols(0))
	if s.d.ridge == 0 {
		f.df = float64(s.n - q)
	}
	rss := s.solver.RSS()
	if rss <= s.floor {
		rss = 0
	}
	f.sigma = math.Sqrt(rss / f.df)
	f.columns = s.state[:q:q]
	s.residuals(f.coef)
	f.fitted = make([]float64, len(s.y))
	kalman := newFilter(c.partials, c.order)
	for i := range s.y {
		f.fitted[i] = f.errors[0]
		for j, b := range f.coef {
			f.fitted[i] += b * s.d.x.At(i, j)
		}
		v := s.residual[i]
		if !math.IsNaN(v) {
			gain, _ := kalman.see()
			kalman.take(&f.errors, v, &gain)
		}
		kalman.next(&f.errors)
		kalman.advance(!math.IsNaN(v))
	}
	s.d.x = nil
	return f
}

// Fitted gives the mean that was expected one step ahead, with the estimated
// constants.
func (f *fit) Fitted() []float64 {
	out := make([]float64, len(f.fitted))
	for i, v := range f.fitted {
		if out[i] = v; f.log {
			out[i] = logNormal{v, f.sigma}.Mean()
		}
	}
	return out
}

// step is one future step: its mean, how the mean moves with each coefficient
// through the regression and the errors remembered, and the errors' variance
// in units of σ².
type step struct {
	mean     float64
	gradient []float64
	variance float64
}

func (f *fit) steps(h int) []step {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step, have %d", h))
	}
	q := len(f.coef)
	out, all := make([]step, h), make([]float64, h*q)
	kalman, errors := f.filter, f.errors
	columns := slices.Clone(f.columns)
	for i := range out {
		s := step{gradient: all[i*q : (i+1)*q], mean: errors[0], variance: kalman.cov[0][0]}
		f.design.row(f.design.n+i, s.gradient)
		for j, v := range s.gradient {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				panic(fmt.Sprintf("harmonic: need finite regressors, have %v %d steps ahead", v, i+1))
			}
			s.mean += v * f.coef[j]
			s.gradient[j] -= columns[j][0]
			kalman.next(&columns[j])
		}
		kalman.next(&errors)
		kalman.advance(false)
		out[i] = s
	}
	return out
}

// Forecast gives Student's t distributions, or, with logarithms, log-normal
// ones of the same variance, whose mean is that of the values themselves; points
// where there were no errors. It panics if a regressor isn't finite.
func (f *fit) Forecast(h int) forecast.Forecast {
	d := f.design
	out := forecast.Forecast{Start: d.series.At(d.n), Step: d.series.Step, Dists: make([]forecast.Dist, h), Warnings: slices.Clone(d.warnings)}
	u := make([]float64, len(f.coef))
	for i, s := range f.steps(h) {
		variance := s.variance
		mat.NewVecDense(len(u), u).MulVec(f.root.T(), mat.NewVecDense(len(u), s.gradient))
		for _, v := range u {
			variance += v * v
		}
		scale := f.sigma * math.Sqrt(variance)
		switch {
		case scale == 0 && f.log:
			out.Dists[i] = forecast.Point(exp(s.mean))
		case scale == 0:
			out.Dists[i] = forecast.Point(s.mean)
		case f.log:
			out.Dists[i] = logNormal{s.mean, scale * f.widening()}
		default:
			out.Dists[i] = distuv.StudentsT{Mu: s.mean, Sigma: scale, Nu: f.df}
		}
	}
	return out
}

// widening makes a normal distribution as wide as Student's t.
func (f *fit) widening() float64 { return math.Sqrt(f.df / (f.df - 2)) }

// Simulate draws σ, the coefficients and the errors, in this order, one draw
// of each for all steps of a path.
func (f *fit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	steps := f.steps(h)
	p := forecast.NewPaths(f.design.series.At(f.design.n), f.design.series.Step, h, n)
	chi := distuv.ChiSquared{K: f.df, Src: rng}
	q := len(f.coef)
	z, off := mat.NewVecDense(q, nil), mat.NewVecDense(q, nil)
	spread := f.filter.cholesky()
	for i := range n {
		sigma := f.sigma * f.widening()
		if !f.log {
			sigma = f.sigma * math.Sqrt(f.df/chi.Rand())
		}
		for j := range q {
			z.SetVec(j, sigma*rng.NormFloat64())
		}
		off.MulVec(f.root, z)
		// What is not known of the errors before the first future step, and
		// then its innovations.
		var errors, unknown partials
		for j := range f.filter.order {
			unknown[j] = sigma * rng.NormFloat64()
		}
		for a := range f.filter.order {
			for b := range a + 1 {
				errors[a] += spread[a][b] * unknown[b]
			}
		}
		path := p.Path(i)
		for j, s := range steps {
			if j > 0 {
				f.filter.next(&errors)
				errors[0] += sigma * rng.NormFloat64()
			}
			v := s.mean + errors[0]
			for k, g := range s.gradient {
				v += g * off.AtVec(k)
			}
			if path[j] = v; f.log {
				path[j] = exp(v)
			}
		}
	}
	return p
}

// cholesky gives the lower triangle L with LLᵀ = cov, which may be singular:
// of steps that were seen nothing is unknown.
func (f *filter) cholesky() (l [maxOrder][maxOrder]float64) {
	for j := range f.order {
		for i := j; i < f.order; i++ {
			sum := f.cov[i][j]
			for k := range j {
				sum -= l[i][k] * l[j][k]
			}
			switch {
			case i == j:
				l[i][j] = math.Sqrt(max(0, sum))
			case l[j][j] > 1e-8*math.Sqrt(f.cov[j][j]):
				l[i][j] = sum / l[j][j]
			}
		}
	}
	return l
}

// Parameters gives the coefficients by name (level, slope a step, the
// regressors, sin1, cos1, …), the autoregression's (ar1, …), sigma, the
// innovations' standard deviation, and the number of harmonics.
func (f *fit) Parameters() map[string]float64 {
	out := map[string]float64{"sigma": f.sigma, "harmonics": float64(f.candidate.harmonics)}
	for j, name := range f.design.names(f.candidate.harmonics) {
		out[name] = f.coef[j]
	}
	for k := range f.candidate.order {
		out[fmt.Sprintf("ar%d", k+1)] = f.filter.phi[k]
	}
	return out
}

// LogLik gives −½(n ln(RSS/n) + Σ ln v), v the surprises' variances in units
// of the innovations': the normal log-likelihood, of the logarithms if those
// are modelled, less its constants.
func (f *fit) LogLik() float64 { return f.candidate.logLik }

// AICc gives −2 LogLik + 2p + 2p(p+1)/(n−p−1), p the number of coefficients,
// autoregression and variance included.
func (f *fit) AICc() float64 { return f.candidate.score }

// logNormal is the distribution of the exponential of a normal variable.
type logNormal struct{ mu, sigma float64 }

func (d logNormal) Mean() float64 { return exp(d.mu + d.sigma*d.sigma/2) }

func (d logNormal) Quantile(p float64) float64 {
	return exp(d.mu + d.sigma*distuv.UnitNormal.Quantile(p))
}

// exp keeps a hopeless extrapolation finite.
func exp(v float64) float64 { return math.Exp(min(v, 230)) }
