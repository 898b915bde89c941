package stl

import (
	"fmt"
	"slices"

	"freshet/forecast"
)

// Seasons is a decomposition with several seasons. Seasonal is their sum, and
// Each holds them in order of their periods.
type Seasons struct {
	forecast.Decomposition
	Each []forecast.Series
}

// Multi takes the seasons of the given periods out of s in turn, the shortest
// first, twice over, each time from what the others leave (MSTL: Bandara,
// Hyndman and Bergmeir 2021, algorithm 1). Without a seasonal window the i-th
// season has 7+4i. The trend is that beside the longest season.
//
// It returns an error, as Decompose, if one of the periods doesn't suit s. It
// panics if there are no periods.
func Multi(s forecast.Series, o Settings, periods ...float64) (Seasons, error) {
	if len(periods) == 0 {
		panic("stl: need at least 1 period, have 0")
	}
	const rounds = 2
	periods = slices.Sorted(slices.Values(periods))
	rest := slices.Clone(s.Values)
	out := Seasons{Each: make([]forecast.Series, len(periods))}
	for i, period := range periods {
		out.Each[i] = s.Like(make([]float64, s.Len()))
		out.Each[i].Period = period
	}
	for range rounds {
		for i, season := range out.Each {
			for t, v := range season.Values {
				rest[t] += v
			}
			with := o
			if with.Season.Window == 0 {
				with.Season.Window = 7 + 4*(i+1)
			}
			d, err := Decompose(season.Like(rest), with)
			if err != nil {
				return Seasons{}, fmt.Errorf("period %v: %w", season.Period, err)
			}
			copy(season.Values, d.Seasonal.Values)
			for t, v := range season.Values {
				rest[t] -= v
			}
			out.Trend = s.Like(d.Trend.Values)
		}
	}
	sum := make([]float64, s.Len())
	for t := range sum {
		for _, season := range out.Each {
			sum[t] += season.Values[t]
		}
		rest[t] -= out.Trend.Values[t]
	}
	out.Seasonal, out.Remainder = s.Like(sum), s.Like(rest)
	return out, nil
}
