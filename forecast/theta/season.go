package theta

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"freshet/forecast"
)

// season is what is taken out of the values before smoothing: nothing if
// figure is empty. Step t, which may lie in the future, has figure[t % m].
type season struct {
	figure         []float64
	multiplicative bool
}

// findSeason decomposes s if the test of its autocorrelation finds a season.
func findSeason(s forecast.Series) (season, []error, error) {
	m := s.Lag()
	if m < 2 || s.Len() <= 2*m || seasonTest(s.Fill(), m) <= passes {
		return season{}, nil, nil
	}
	positive := true
	for _, v := range s.Values {
		positive = positive && !(v <= 0)
	}
	d, err := forecast.Decompose(s, positive)
	if err != nil {
		return season{}, nil, err
	}
	warnings := d.Warnings
	for i, v := range d.Figure() {
		if positive && v < 1e-4 {
			warnings = append(warnings, fmt.Errorf("forecast: theta method: the season is all but 0 at position %d: left out", i+1))
			return season{}, warnings, nil
		}
	}
	if !positive {
		warnings = append(warnings, errors.New("forecast: theta method: an additive season, since not all values are above 0"))
	}
	return season{figure: d.Figure(), multiplicative: positive}, warnings, nil
}

// passes is the 95 % point of the normal distribution: a season is believed
// at the two-sided level of 90 %.
const passes = 1.6448536269514722

// seasonTest gives the autocorrelation at lag m in units of its standard error
// with no season, sqrt((1 + 2Σr²)/n) over lags below m (Bartlett 1946; R's
// forecast::thetaf). It is 0 if all values are one.
func seasonTest(y []float64, m int) float64 {
	n := len(y)
	mean := stat.Mean(y, nil)
	at := func(lag int) (sum float64) {
		for t := lag; t < n; t++ {
			sum += (y[t] - mean) * (y[t-lag] - mean)
		}
		return sum
	}
	variance := at(0)
	// Less than rounding leaves is nothing.
	if variance <= 1e-28*mean*mean*float64(n) {
		return 0
	}
	squares := 0.0
	for lag := 1; lag < m; lag++ {
		r := at(lag) / variance
		squares += r * r
	}
	return math.Abs(at(m)/variance) / math.Sqrt((1+2*squares)/float64(n))
}

// remove takes the season out of y, in place.
func (s season) remove(y []float64) []float64 {
	if m := len(s.figure); m > 0 {
		for t := range y {
			if s.multiplicative {
				y[t] /= s.figure[t%m]
			} else {
				y[t] -= s.figure[t%m]
			}
		}
	}
	return y
}

// add puts the season of step t back.
func (s season) add(t int, v float64) float64 {
	switch {
	case len(s.figure) == 0:
		return v
	case s.multiplicative:
		return v * s.figure[t%len(s.figure)]
	}
	return v + s.figure[t%len(s.figure)]
}

// scale gives what the season of step t does to a spread.
func (s season) scale(t int) float64 {
	if s.multiplicative && len(s.figure) > 0 {
		return s.figure[t%len(s.figure)]
	}
	return 1
}
