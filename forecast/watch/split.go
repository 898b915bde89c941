package watch

import (
	"errors"
	"fmt"
	"math"
)

// Split is the best single change of level in a run of values, by least
// squares.
type Split struct {
	At            int     // steps before the change
	Before, After float64 // means
	RSS0, RSS     float64 // residual sums of squares, without and with it
	BIC0, BIC     float64 // criteria without and with it; the lesser is better
	F             float64 // (RSS0-RSS)/(RSS/(n-2)), Andrews' (1993) largest; NaN or +Inf where RSS is 0
}

// LevelChange gives the best split with at least so many values on either
// side. The values should have no season left. It gives an error if there are
// fewer than two segments' worth or one is missing, and panics if least < 1.
//
// The criterion is n(ln RSS + 1 - ln n + ln 2π) + p ln n with p = 2 and 4: the
// split itself counts as a parameter (Bai and Perron 2003, from memory).
func LevelChange(x []float64, least int) (Split, error) {
	if least < 1 {
		panic(fmt.Sprintf("watch: need segments of 1 step or more, have %d", least))
	}
	n := len(x)
	if n < 2*least || n < 3 {
		return Split{}, fmt.Errorf("watch: a change of level needs %d values, have %d", max(3, 2*least), n)
	}
	// About the mean, sums of squares lose no digits.
	mean, all := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(n)
	}
	for _, v := range x {
		all += (v - mean) * (v - mean)
	}
	if math.IsNaN(all) || math.IsInf(all, 0) {
		return Split{}, errors.New("watch: a change of level needs finite values, without gaps")
	}
	s := Split{RSS0: all, RSS: math.Inf(1)}
	sum := 0.0
	for i, v := range x {
		sum += v - mean
		k := float64(i + 1)
		if i+1 < least || n-i-1 < least {
			continue
		}
		// The sums of deviations either side are sum and -sum.
		if rss := all - sum*sum/k - sum*sum/(float64(n)-k); rss < s.RSS {
			s.At, s.RSS = i+1, max(0, rss)
			s.Before, s.After = mean+sum/k, mean-sum/(float64(n)-k)
		}
	}
	bic := func(rss, p float64) float64 {
		m := float64(n)
		return m*(math.Log(rss)+1-math.Log(m)+math.Log(2*math.Pi)) + p*math.Log(m)
	}
	s.BIC0, s.BIC = bic(s.RSS0, 2), bic(s.RSS, 4)
	s.F = (s.RSS0 - s.RSS) / (s.RSS / float64(n-2))
	return s, nil
}

// Excursion gives the largest cumulated deviation from the mean over the
// standard deviation times √n, the statistic of the OLS-based CUSUM test
// (Ploberger and Krämer 1992): under no change above 1.36 once in 20 times. It
// is 0 for fewer than two values, and for values that are all the same.
func Excursion(x []float64) float64 {
	n := float64(len(x))
	mean, sq := 0.0, 0.0
	for _, v := range x {
		mean += v / n
	}
	sum, most := 0.0, 0.0
	for _, v := range x {
		sq += (v - mean) * (v - mean)
		sum += v - mean
		most = max(most, math.Abs(sum))
	}
	if n < 2 || sq == 0 {
		return 0
	}
	return most / math.Sqrt(sq/(n-1)*n)
}
