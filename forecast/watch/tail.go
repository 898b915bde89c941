package watch

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Counted is the distribution of a count: CDF gives P(N <= k), Survival
// P(N >= k). forecast.NegBin is one, and so is Mixture.
type Counted interface {
	CDF(k float64) float64
	Survival(k float64) float64
}

// Tail gives the chance of a count at least as far out as k, on the side on
// which k lies, and whether that is the upper one. It is one-sided: an
// ordinary count has about .5.
func Tail(d Counted, k float64) (chance float64, above bool) {
	lower, upper := d.CDF(k), d.Survival(k)
	if upper < lower {
		return upper, true
	}
	return lower, false
}

// Score gives the standard normal value with as much below it as a count of k
// has: P(N < k) + P(N = k)/2, the mid-probability, so that charts made for
// normal errors can be run on counts. It lies within ±8.
func Score(d Counted, k float64) float64 {
	const furthest = 8
	below, above := (1-d.Survival(k)+d.CDF(k))/2, (1-d.CDF(k)+d.Survival(k))/2
	if above < below { // the small one is the exact one
		return min(furthest, -distuv.UnitNormal.Quantile(max(above, 1e-300)))
	}
	return max(-furthest, distuv.UnitNormal.Quantile(max(below, 1e-300)))
}

// Mixture is the distribution of a count by its probabilities: P[k] is that of
// k, and what the slice doesn't hold is taken to lie above.
type Mixture struct {
	P    []float64
	mean float64
}

// Mean gives the mean count.
func (m Mixture) Mean() float64 { return m.mean }

// CDF gives the chance of k or fewer.
func (m Mixture) CDF(k float64) float64 { return min(1, m.sum(math.Floor(k)+1)) }

// Survival gives the chance of k or more. It is summed from above, so that
// small chances keep their digits.
func (m Mixture) Survival(k float64) float64 {
	sum := 0.0
	for i := len(m.P) - 1; i >= 0 && float64(i) >= k; i-- {
		sum += m.P[i]
	}
	return min(1, sum)
}

func (m Mixture) sum(n float64) float64 {
	sum := 0.0
	for i := range m.P {
		if float64(i) >= n {
			break
		}
		sum += m.P[i]
	}
	return sum
}

// Quantile gives the least count with at least the share p at or below it.
func (m Mixture) Quantile(p float64) float64 {
	sum := 0.0
	for k, q := range m.P {
		if sum += q; sum >= p {
			return float64(k)
		}
	}
	return float64(len(m.P) - 1)
}
