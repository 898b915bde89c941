package counts

import (
	"math"
	"slices"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

// flat puts the regression of the references into the engine: columns 1, t/52,
// sin and cos of 2πt/52 for the first 260 weeks of own_weekly, priors as good
// as flat, and no level of the moment.
func flat(t *testing.T, offset func(week int) float64) (*problem, scales) {
	t.Helper()
	values, _ := forecasttest.DataSet(t, "own_weekly")
	q := newProblem(260, 4, 0)
	copy(q.y, values)
	for i, y := range q.y {
		week := float64(i + 1)
		row := q.x[4*i : 4*i+4]
		row[0], row[1] = 1, week/52
		row[2], row[3] = math.Sincos(2 * math.Pi * week / 52)
		q.offset[i] = offset(i + 1)
		q.eta[i] = q.offset[i]
		l, _ := math.Lgamma(y + 1)
		q.lgammaY += l
		q.counts = append(q.counts, y)
	}
	for j := range q.fixed {
		q.fixed[j] = 1e-12
	}
	return q, scales{rho: 0, sigma: 1e-8, season: 1, size: 20}
}

func always(int) float64 { return 0 }

// Newton's method ends at the coefficients, expected standard errors and
// log-likelihoods of an independent IRLS in R (references nb_glm_*).
func TestNegativeBinomialReferences(t *testing.T) {
	for _, c := range []struct {
		id   string
		size float64
	}{{"nb_glm_fixed_theta20", 20}, {"nb_glm_fixed_theta8", 8}} {
		q, s := flat(t, always)
		s.size = c.size
		q.mode(s, exact)
		forecasttest.Ref(t, c.id).Equal(t, q.beta...)
		forecasttest.Ref(t, c.id+"_loglik").Equal(t, q.logLik(s.size))
		forecasttest.Ref(t, c.id+"_se").Equal(t, standardErrors(t, q, s)...)
	}
	// Open days are 4 of 5 in weeks 26, 78, … and 2 in weeks 52, 104, …
	q, s := flat(t, func(week int) float64 {
		switch week % 52 {
		case 26:
			return math.Log(4. / 5)
		case 0:
			return math.Log(2. / 5)
		}
		return 0
	})
	q.mode(s, exact)
	forecasttest.Ref(t, "nb_glm_offset").Equal(t, q.beta...)
}

// standardErrors takes the weights of the expected information, as glm does,
// where the engine uses the observed one.
func standardErrors(t *testing.T, q *problem, s scales) []float64 {
	t.Helper()
	for i, eta := range q.eta {
		mu := math.Exp(eta)
		q.w[i] = mu / (1 + mu/s.size)
	}
	if !q.solve(s) {
		t.Fatal("the information has no factor")
	}
	out := make([]float64, q.p)
	for j := range out {
		unit := make([]float64, q.p)
		unit[j] = 1
		q.chol.solveTransposed(unit)
		for _, v := range unit {
			out[j] += v * v
		}
		out[j] = math.Sqrt(out[j])
	}
	return out
}

// With nothing left to shrink to, the greatest log-likelihood over the size is
// that of MASS::glm.nb (references nb_glm_free_*).
func TestFreeSize(t *testing.T) {
	q, s := flat(t, always)
	best, at := math.Inf(-1), 0.0
	for log := 2.; log < 4; log += .005 {
		s.size = math.Exp(log)
		q.mode(s, exact)
		if l := q.logLik(s.size); l > best {
			best, at = l, s.size
		}
	}
	ref := forecasttest.Ref(t, "nb_glm_free_loglik")
	if want := ref.Values(t)[0]; best < want-ref.Tolerance || best > want+1e-6 {
		t.Errorf("log-likelihood %v, want %v", best, want)
	}
	forecasttest.Ref(t, "nb_glm_free_size").Equal(t, at)
}

// A huge size is the Poisson regression of R's glm (reference poisson_glm).
func TestPoissonReference(t *testing.T) {
	q, s := flat(t, always)
	s.size = 1e12
	q.mode(s, exact)
	pearson := 0.0
	for i, y := range q.y {
		mu := math.Exp(q.eta[i])
		pearson += (y - mu) * (y - mu) / mu
	}
	forecasttest.Ref(t, "poisson_glm").Equal(t, append(slices.Clone(q.beta), pearson/256)...)
}

// On few steps the approximate marginal likelihood is what brute force gives:
// the integral over the level and the coefficient by a grid.
func TestLaplace(t *testing.T) {
	const prior = .25 // of the one coefficient's precision
	s := scales{rho: .6, sigma: .3, season: 1, size: 10}
	relative := func(level float64) float64 {
		q := newProblem(2, 1, 0)
		copy(q.x, []float64{1, 1})
		copy(q.y, []float64{9, 14})
		for i, y := range q.y {
			q.offset[i], q.eta[i] = level, level
			l, _ := math.Lgamma(y + 1)
			q.lgammaY += l
			q.counts = append(q.counts, y)
		}
		q.fixed[0] = prior
		laplace := q.mode(s, exact)
		sum := 0.0
		const step = .05
		for b := -6.0; b < 6; b += step {
			for u := -2.0; u < 2; u += step {
				for v := -2.0; v < 2; v += step {
					q.beta[0], q.u[0], q.u[1] = b, u, v
					q.eta[0], q.eta[1] = level+b+u, level+b+v
					sum += math.Exp(q.logLik(s.size) + q.penalty(s) + 20)
				}
			}
		}
		// The constants that mode leaves out: (2π)^(3/2) of its own integral.
		return laplace - (math.Log(sum*step*step*step) - 20 - 1.5*math.Log(2*math.Pi))
	}
	if off := relative(2); math.Abs(off) > .03 {
		t.Errorf("Laplace's log marginal likelihood is off by %v", off)
	}
}

// A matrix small enough to check by hand.
func TestCholesky(t *testing.T) {
	a := []float64{4, 2, -2, 2, 5, 1, -2, 1, 6}
	c := cholesky{3, slices.Clone(a)}
	if !c.factor() {
		t.Fatal("no factor")
	}
	if det := math.Exp(c.logDet()); math.Abs(det-(4*(30-1)-2*(12+2)-2*(2+10))) > 1e-9 { // by minors
		t.Errorf("determinant %v", det)
	}
	x := []float64{1, -2, 3}
	c.solveTransposed(x)
	c.solve(x)
	for i, want := range []float64{1, -2, 3} {
		if have := a[3*i]*x[0] + a[3*i+1]*x[1] + a[3*i+2]*x[2]; math.Abs(have-want) > 1e-12 {
			t.Errorf("row %d gives %v, want %v", i, have, want)
		}
	}
	if (cholesky{2, []float64{1, 2, 2, 1}}).factor() {
		t.Error("want no factor of an indefinite matrix")
	}
}

// Allocations don't depend on how hard the scales are to find.
func TestAllocations(t *testing.T) {
	quiet, rough := forecasttest.Weekly(200, 20, .5, 1), forecasttest.Weekly(200, 2, 1.5, 2)
	count := func(s forecast.Series) float64 {
		return testing.AllocsPerRun(2, func() {
			if _, err := (Model{}).Fit(s); err != nil {
				t.Fatal(err)
			}
		})
	}
	if a, b := count(quiet), count(rough); math.Abs(a-b) > 3 || a > 60 {
		t.Errorf("%v and %v allocations", a, b)
	}
}
