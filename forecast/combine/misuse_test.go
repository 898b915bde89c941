package combine_test

import (
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
)

func TestMisuse(t *testing.T) {
	s := forecast.Plain([]float64{1, 2, 3, 4, 5, 6}, 1)
	two := []forecast.Model{naive.Last{}, naive.Drift{}}
	fit := func(a combine.Average) func() { return func() { a.Fit(s) } }
	forecasttest.Refuses(t, "combine: ", map[string]func(){
		"an average of nothing":      fit(combine.Average{}),
		"one weight for two models":  fit(combine.Average{Models: two, Weights: []float64{1}}),
		"a weight of 0":              fit(combine.Average{Models: two, Weights: []float64{1, 0}}),
		"half of both ends left out": fit(combine.Average{Models: two, Trim: .5}),
	})
}
