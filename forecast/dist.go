package forecast

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// Dist is the distribution of one future value. Quantile takes p in [0, 1]
// and never falls as p rises. gonum's distuv.Normal is one.
type Dist interface {
	Mean() float64
	Quantile(p float64) float64
}

// Point is a distribution with all its mass on one value.
type Point float64

// Mean gives the value.
func (p Point) Mean() float64 { return float64(p) }

// Quantile gives the value, whatever p.
func (p Point) Quantile(float64) float64 { return float64(p) }

// Empirical is the distribution of equally likely values, sorted rising.
type Empirical struct {
	sorted []float64
	mean   float64
}

// NewEmpirical sorts and keeps values. It panics if there are none.
func NewEmpirical(values []float64) Empirical {
	if len(values) == 0 {
		panic("forecast: an empirical distribution needs at least 1 value")
	}
	slices.Sort(values)
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return Empirical{sorted: values, mean: sum / float64(len(values))}
}

// Mean gives the average of the values.
func (e Empirical) Mean() float64 { return e.mean }

// Quantile interpolates between order statistics, the k-th of n standing at
// (k-1)/(n-1) (Hyndman and Fan 1996, type 7).
func (e Empirical) Quantile(p float64) float64 {
	n := len(e.sorted)
	x := p * float64(n-1)
	i := int(x)
	switch {
	case !(x > 0):
		return e.sorted[0]
	case i >= n-1:
		return e.sorted[n-1]
	}
	w := x - float64(i)
	return e.sorted[i] + w*(e.sorted[i+1]-e.sorted[i]) // never falls, and exact between ties
}

// CDF gives the share of the values at or below x.
func (e Empirical) CDF(x float64) float64 {
	i, _ := slices.BinarySearchFunc(e.sorted, x, func(v, x float64) int {
		if v <= x {
			return -1
		}
		return 1
	})
	return float64(i) / float64(len(e.sorted))
}

// NegBin is the negative binomial distribution of a count with mean Mu and
// variance Mu + Mu²/Size; Size +Inf is the Poisson distribution.
type NegBin struct {
	Mu, Size float64
}

// Mean gives Mu.
func (d NegBin) Mean() float64 { return d.Mu }

// Variance gives Mu + Mu²/Size.
func (d NegBin) Variance() float64 { return d.Mu + d.Mu*d.Mu/d.Size }

// LogProb gives the natural logarithm of the probability of count k.
func (d NegBin) LogProb(k float64) float64 {
	switch {
	case k < 0 || k != math.Floor(k):
		return math.Inf(-1)
	case d.Mu == 0 && k == 0:
		return 0
	case d.Mu == 0:
		return math.Inf(-1)
	}
	lk, _ := math.Lgamma(k + 1)
	if math.IsInf(d.Size, 1) {
		return k*math.Log(d.Mu) - d.Mu - lk
	}
	a, _ := math.Lgamma(k + d.Size)
	b, _ := math.Lgamma(d.Size)
	return a - b - lk + d.Size*math.Log(d.Size/(d.Size+d.Mu)) + k*math.Log(d.Mu/(d.Size+d.Mu))
}

// CDF gives P(N <= k), by the incomplete beta or gamma function.
func (d NegBin) CDF(k float64) float64 {
	k = math.Floor(k)
	switch {
	case k < 0:
		return 0
	case d.Mu == 0:
		return 1
	case math.IsInf(d.Size, 1):
		return mathext.GammaIncRegComp(k+1, d.Mu)
	}
	return mathext.RegIncBeta(d.Size, k+1, d.Size/(d.Size+d.Mu))
}

// Survival gives P(N >= k).
func (d NegBin) Survival(k float64) float64 {
	k = math.Ceil(k)
	switch {
	case k <= 0:
		return 1
	case d.Mu == 0:
		return 0
	case math.IsInf(d.Size, 1):
		return mathext.GammaIncReg(k, d.Mu)
	}
	return mathext.RegIncBeta(k, d.Size, d.Mu/(d.Size+d.Mu))
}

// Quantile gives the least count k with P(N <= k) >= p. At p = 1 it stops at
// the count that all but 1e-12 of the mass lies below.
func (d NegBin) Quantile(p float64) float64 {
	const top = 1 - 1e-12
	return CountQuantile(d.CDF, min(p, top), d.Mu)
}

// CountQuantile gives the least whole number, 0 or more, at or below which cdf
// puts at least the share p. It looks near the mean first, and needs a cdf that
// comes to p somewhere. Where whole numbers lie further apart than 1, beyond
// 2^53, it gives the least of those there are.
func CountQuantile(cdf func(float64) float64, p, mean float64) float64 {
	if cdf(0) >= p {
		return 0
	}
	lo, hi := 0.0, math.Ceil(mean)+1 // cdf(lo) < p
	for cdf(hi) < p {
		lo, hi = hi, 2*hi
	}
	for hi-lo > 1 {
		mid := math.Floor((lo + hi) / 2)
		if mid <= lo || mid >= hi {
			break
		}
		if cdf(mid) >= p {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}
