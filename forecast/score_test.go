package forecast_test

import (
	"math"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

// steps is a distribution of which only some quantiles are known.
type steps map[float64]float64

func (steps) Mean() float64                { return math.NaN() }
func (s steps) Quantile(p float64) float64 { return s[math.Round(p*1000)/1000] }

func near(t *testing.T, id string, have float64) {
	t.Helper()
	ref := forecasttest.Ref(t, id)
	if want := ref.Values(t)[0]; math.IsNaN(have) || math.Abs(have-want) > ref.Tolerance {
		t.Errorf("%s: want %v, have %v", id, want, have)
	}
}

// The scores against worked references (their sources stand in
// testdata/reference/check_values.csv).
func TestScores(t *testing.T) {
	near(t, "pinball_9_12", forecast.Pinball(12, 10, .9))
	near(t, "pinball_9_8", forecast.Pinball(8, 10, .9))
	d := steps{.1: 6, .25: 8, .5: 10, .75: 12, .9: 15}
	for id, y := range map[string]float64{"wis_4": 4, "wis_11": 11, "wis_17": 17} {
		near(t, id, forecast.WIS(d, y, .5, .8))
	}
	var toy struct {
		History, Forecast, Actual []float64
		Period                    int
	}
	forecasttest.Ref(t, "mase_toy").Into(t, &toy)
	e := 0.0
	for i, y := range toy.Actual {
		e += math.Abs(y-toy.Forecast[i]) / float64(len(toy.Actual))
	}
	near(t, "mase_toy", e/forecast.SeasonalScale(toy.History, toy.Period))
	near(t, "smape_toy", forecast.SMAPE(toy.Actual, toy.Forecast))
	if have := forecast.SMAPE([]float64{0, 4}, []float64{0, 4}); have != 0 {
		t.Errorf("a pair of zeros: have %v", have)
	}
	nan := math.NaN()
	if have := forecast.SeasonalScale([]float64{1, nan, 4, 5, nan}, 2); have != 3 {
		t.Errorf("pairs that were both observed: want 3, have %v", have)
	}
	if have := forecast.SeasonalScale([]float64{1, 2}, 2); !math.IsNaN(have) {
		t.Errorf("without a pair: have %v", have)
	}
}
