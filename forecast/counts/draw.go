package counts

import (
	"math"
	"math/rand/v2"

	"freshet/forecast"
)

// mixture is the negative binomial whose log mean is normal, by Gauss-Hermite
// quadrature: the distribution of a count whose mean is known only roughly.
type mixture struct {
	mean  float64
	parts [len(nodes)]forecast.NegBin
}

// nodes and weights of the nine-point Gauss-Hermite rule for a standard normal
// variable (Abramowitz and Stegun 1964, table 25.10, scaled by √2 and √π).
var (
	nodes   = [9]float64{-4.512745863399783, -3.205429002856470, -2.076847978677830, -1.023255663789133, 0, 1.023255663789133, 2.076847978677830, 3.205429002856470, 4.512745863399783}
	weights = [9]float64{2.234584400774658e-05, 2.789141321231769e-03, 4.991640676521787e-02, 2.440975028949394e-01, 4.063492063492064e-01, 2.440975028949394e-01, 4.991640676521787e-02, 2.789141321231769e-03, 2.234584400774658e-05}
)

func newMixture(logMean, spread, size float64) mixture {
	spread = min(spread, maxSpread)
	var m mixture
	for i, z := range nodes {
		mu := math.Exp(max(-30, min(logMean+spread*z, 35)))
		m.parts[i] = forecast.NegBin{Mu: mu, Size: size}
		m.mean += weights[i] * mu
	}
	return m
}

// Mean gives the mean count.
func (m mixture) Mean() float64 { return m.mean }

// CDF gives the chance of k or fewer.
func (m mixture) CDF(k float64) float64 {
	sum := 0.0
	for i, d := range m.parts {
		sum += weights[i] * d.CDF(k)
	}
	return sum
}

// Survival gives the chance of k or more.
func (m mixture) Survival(k float64) float64 {
	sum := 0.0
	for i, d := range m.parts {
		sum += weights[i] * d.Survival(k)
	}
	return sum
}

// Quantile gives the least count with at least the share p at or below it.
func (m mixture) Quantile(p float64) float64 {
	return forecast.CountQuantile(m.CDF, min(p, 1-1e-9), m.mean)
}

// Quantiles puts the quantiles at the rising shares ps into out, each as
// Quantile gives it but for rounding: it searches for the first and last, and
// between them counts on by the ratio of a count's chance to the one's before.
func (m mixture) Quantiles(out, ps []float64) {
	last := len(ps) - 1
	k, top := m.Quantile(ps[0]), m.Quantile(ps[last])
	out[0], out[last] = k, top
	var chance, ratio [len(nodes)]float64 // of k by each part; Mu/(Size+Mu)
	const (
		far   = 10_000 // counts from which on searching is faster
		least = 1e-290 // below it a part's chance has lost its digits, and can't grow again
	)
	count := top-k <= far
	for i, d := range m.parts {
		chance[i] = weights[i] * math.Exp(d.LogProb(k))
		ratio[i] = d.Mu / (d.Size + d.Mu)
		count = count && (chance[i] > least || d.Mu < k)
	}
	if !count {
		for j := 1; j < last; j++ {
			out[j] = m.Quantile(ps[j])
		}
		return
	}
	sum := m.CDF(k)
	for j := 1; j < last; j++ {
		for ; sum < ps[j] && k < top; k++ {
			for i, d := range m.parts {
				if math.IsInf(d.Size, 1) {
					chance[i] *= d.Mu / (k + 1)
				} else {
					chance[i] *= ratio[i] * (k + d.Size) / (k + 1)
				}
				sum += chance[i]
			}
		}
		out[j] = k
	}
}

// draw gives a negative binomial count as a Poisson one with a gamma mean.
func draw(rng *rand.Rand, mu, size float64) float64 {
	if mu == 0 {
		return 0
	}
	return poisson(rng, mu*Gamma(rng, size)/size)
}

// Gamma draws from the gamma distribution of this shape and scale 1
// (Marsaglia and Tsang 2000).
func Gamma(rng *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return Gamma(rng, shape+1) * math.Pow(rng.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		z := rng.NormFloat64()
		v := 1 + c*z
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(rng.Float64()) < z*z/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// poisson draws a Poisson count: by inversion for small means, by transformed
// rejection for large ones (Hörmann 1993, algorithm PTRS).
func poisson(rng *rand.Rand, mu float64) float64 {
	if mu < 10 {
		k, p := 0.0, math.Exp(-mu)
		for u := rng.Float64(); u > p && k < 200; k++ {
			u -= p
			p *= mu / (k + 1)
		}
		return k
	}
	b := .931 + 2.53*math.Sqrt(mu)
	a := -.059 + .02483*b
	inverse := 1.1239 + 1.1328/(b-3.4)
	cut := .9277 - 3.6224/(b-2)
	logMu := math.Log(mu)
	for {
		u, v := rng.Float64()-.5, rng.Float64()
		us := .5 - math.Abs(u)
		k := math.Floor((2*a/us+b)*u + mu + .43)
		if us >= .07 && v <= cut {
			return k
		}
		if k < 0 || us < .013 && v > us {
			continue
		}
		l, _ := math.Lgamma(k + 1)
		if math.Log(v*inverse/(a/(us*us)+b)) <= k*logMu-mu-l {
			return k
		}
	}
}
