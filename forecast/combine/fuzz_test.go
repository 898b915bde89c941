package combine_test

import (
	"math"
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/counts"
	"freshet/forecast/ets"
	"freshet/forecast/forecasttest"
	"freshet/forecast/harmonic"
	"freshet/forecast/naive"
	"freshet/forecast/smooth"
	"freshet/forecast/stl"
	"freshet/forecast/theta"
)

// FuzzHistory makes a history of any bytes and asks every model for a
// forecast: the answer is an error with words or finite, ordered
// distributions, whatever the history. A byte is a value; 255 was not observed,
// 254 is a typing error of 10,000.
func FuzzHistory(f *testing.F) {
	f.Add(byte(0), byte(12), []byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 2, 3})
	f.Add(byte(3), byte(1), []byte{0, 0, 0, 0, 254, 0, 0, 255, 255, 0, 0, 0})
	f.Add(byte(5), byte(4), []byte{255, 255, 9, 9, 9, 9, 9, 9, 9, 9, 254, 9, 9, 9, 9, 9, 9, 9})
	f.Add(byte(8), byte(52), []byte{7})
	models := []forecast.Model{combine.Auto{}, counts.Model{}, ets.Model{}, theta.Model{}, theta.Optimised{}, harmonic.Model{}, naive.Seasonal{}, naive.Drift{}, naive.Profile{},
		smooth.Simple{}, smooth.Double{}, smooth.HoltWinters{}, smooth.HoltWinters{Multiplicative: true}, stl.Model{Of: naive.Last{}}}
	f.Fuzz(func(t *testing.T, which, period byte, history []byte) {
		if len(history) > 400 {
			t.Skip("long ones cost time and show nothing new")
		}
		m := models[int(which)%len(models)]
		s := forecast.Plain(make([]float64, len(history)), float64(max(1, int(period)%60)))
		for i, b := range history {
			switch b {
			case 255:
				s.Values[i] = math.NaN()
			case 254:
				s.Values[i] = 10000
			default:
				s.Values[i] = float64(b)
			}
		}
		fit, err := m.Fit(s)
		if err != nil {
			if err.Error() == "" {
				t.Error("an error without words")
			}
			return
		}
		_, isCounts := m.(counts.Model)
		forecasttest.Sane(t, fit.Forecast(15), forecasttest.Traits{Counts: isCounts})
	})
}
