package capacity

import "freshet/forecast"

// Days counts cases by whole days, from 0 on. As a distribution it says how
// many days a case takes.
type Days []int

var _ forecast.Dist = Days{}

// N gives the number of cases.
func (d Days) N() (n int) {
	for _, k := range d {
		n += k
	}
	return n
}

// Mean gives the mean days, 0 without a case.
func (d Days) Mean() float64 {
	sum := 0.0
	for days, k := range d {
		sum += float64(days * k)
	}
	return sum / float64(max(1, d.N()))
}

// Quantile gives the least days that the share p of the cases don't exceed, 0
// without a case.
func (d Days) Quantile(p float64) float64 {
	n, sum := float64(d.N()), 0
	for days, k := range d {
		if sum += k; sum > 0 && float64(sum) >= p*n {
			return float64(days)
		}
	}
	return 0
}
