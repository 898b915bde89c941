package ets

import (
	"math"

	"freshet/forecast"
)

// roughStart gives a starting state by plain means, as HKOS section 2.6.1 do:
// seasonals for a season of lag steps by classical decomposition, then a line
// through the first ten or more values without them. y must be complete.
func roughStart(y []float64, lag int, season Part) state {
	if season == None {
		level, slope := line(y[:min(len(y), max(10, 2*lag))])
		return state{level: level, slope: slope}
	}
	times := season == Multiplicative
	seasonal := roughSeason(y, lag, times)
	rest := make([]float64, min(len(y), max(10, 2*lag)))
	for t := range rest {
		if times {
			rest[t] = y[t] / seasonal[t%lag]
		} else {
			rest[t] = y[t] - seasonal[t%lag]
		}
	}
	level, slope := line(rest)
	return state{level, slope, seasonal}
}

// flatStart gives a starting state that stays at the mean size, 1.
func flatStart(lag int, season Part) state {
	st := state{level: 1}
	if season > None {
		st.season = make([]float64, lag)
	}
	if season == Multiplicative {
		for i := range st.season {
			st.season[i] = 1
		}
	}
	return st
}

// centred gives the state with the same means whose seasonals have mean 0, or
// 1 if they multiply. It changes the seasonals in place.
func (st state) centred(m Model) state {
	mean := 0.
	for _, s := range st.season {
		mean += s / float64(len(st.season))
	}
	switch m.Season {
	case Additive:
		st.level += mean
		for i := range st.season {
			st.season[i] -= mean
		}
	case Multiplicative:
		st.level *= mean
		st.slope *= mean
		for i := range st.season {
			st.season[i] /= mean
		}
	}
	return st
}

// roughSeason gives the seasonal of each place: the mean distance from (or
// ratio to) a centred moving average, or where the history is too short for
// every place to have one, from a straight line.
func roughSeason(y []float64, lag int, times bool) []float64 {
	trend := forecast.MovingMean(y, lag)
	short := len(y)-lag/2*2 < lag
	a, b := line(y)
	sum, count := make([]float64, lag), make([]float64, lag)
	for t, v := range y {
		level := trend[t]
		if short {
			level = a + b*float64(t+1)
		} else if math.IsNaN(level) {
			continue
		}
		if times {
			sum[t%lag] += v / level
		} else {
			sum[t%lag] += v - level
		}
		count[t%lag]++
	}
	mean := 0.
	for i := range sum {
		sum[i] /= count[i]
		mean += sum[i] / float64(lag)
	}
	for i := range sum {
		if times {
			sum[i] = max(.05, sum[i]/mean)
		} else {
			sum[i] -= mean
		}
	}
	return sum
}

// line gives the least-squares line a + b t through y, t from 1.
func line(y []float64) (a, b float64) {
	n := float64(len(y))
	middle, mean := (n+1)/2, 0.
	for _, v := range y {
		mean += v / n
	}
	xy, xx := 0., 0.
	for i, v := range y {
		x := float64(i+1) - middle
		xy += x * (v - mean)
		xx += x * x
	}
	if xx > 0 {
		b = xy / xx
	}
	return mean - b*middle, b
}

// meanSize gives the mean absolute value of the observed steps, 1 if that is 0.
func meanSize(y []float64) float64 {
	sum, n := 0., 0
	for _, v := range y {
		if !math.IsNaN(v) {
			sum += math.Abs(v)
			n++
		}
	}
	if sum == 0 {
		return 1
	}
	return sum / float64(n)
}
