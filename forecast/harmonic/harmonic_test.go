package harmonic

import (
	"testing"

	"freshet/forecast"
	"freshet/forecast/calendar"
	"freshet/forecast/forecasttest"
)

func TestContract(t *testing.T) {
	holiday := calendar.Around("Easter", calendar.Yearly(calendar.Easter))
	for _, m := range []Model{
		{},
		{Log: true},
		{Harmonics: 2, Autoregression: 1, Trend: Linear},
		{Harmonics: None, Autoregression: None, Trend: Flat},
		{Regressors: holiday, Autoregression: 3},
	} {
		t.Run(m.String(), func(t *testing.T) {
			forecasttest.Contract(t, m, forecasttest.Weekly(220, 40, .4, 3), forecasttest.Traits{ScaleFree: true, ShiftFree: !m.Log})
		})
	}
}

func BenchmarkFit(b *testing.B) {
	s := forecasttest.Weekly(260, 40, .4, 3)
	for _, m := range []Model{{}, {Harmonics: 4, Autoregression: 1}, {Harmonics: 4, Autoregression: None}} {
		b.Run(m.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Fit(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

var _ = forecast.Week
