package forecast

import "math"

// Pinball is the quantile loss of q as the tau-quantile of y: tau(y-q) if y
// lies at or above q, (1-tau)(q-y) if below (Koenker and Bassett 1978).
func Pinball(y, q, tau float64) float64 {
	if y >= q {
		return tau * (y - q)
	}
	return (1 - tau) * (q - y)
}

// WIS is the weighted interval score of d at y over the given central levels
// (0.8 stands for the range from 10 to 90 %) and the median; lower is better.
// It equals twice the mean pinball loss over its quantiles
// (Bracher, Ray, Gneiting and Reich 2021, equation 2).
func WIS(d Dist, y float64, levels ...float64) float64 {
	sum := Pinball(y, d.Quantile(.5), .5)
	for _, c := range levels {
		lo, hi := (1-c)/2, (1+c)/2
		sum += Pinball(y, d.Quantile(lo), lo) + Pinball(y, d.Quantile(hi), hi)
	}
	return 2 * sum / float64(1+2*len(levels))
}

// SeasonalScale is the denominator of MASE: the mean |y_t - y_(t-lag)| over
// pairs that were both observed (Hyndman and Koehler 2006). It is NaN if
// there is no pair.
func SeasonalScale(values []float64, lag int) float64 {
	sum, n := 0.0, 0
	for t := lag; t < len(values); t++ {
		if d := math.Abs(values[t] - values[t-lag]); !math.IsNaN(d) {
			sum += d
			n++
		}
	}
	return sum / float64(n)
}

// SMAPE is the mean of 200|y-f|/(|y|+|f|) (Makridakis 1993); a pair of zeros
// counts as 0. It isn't for counts with zeros.
func SMAPE(y, f []float64) float64 {
	sum := 0.0
	for i := range y {
		if d := math.Abs(y[i]) + math.Abs(f[i]); d > 0 {
			sum += 200 * math.Abs(y[i]-f[i]) / d
		}
	}
	return sum / float64(len(y))
}
