package ets_test

import (
	"testing"

	"freshet/forecast"
	"freshet/forecast/ets"
	"freshet/forecast/forecasttest"
	"freshet/forecast/stl"
)

// STL and a damped trend on the rest, against R's forecast package 8.20 (free)
// and the reference's own recursion on R's stl (fixed).
func TestOnSeasonallyAdjusted(t *testing.T) {
	damped := ets.Model{Error: ets.Additive, Trend: ets.Damped, Season: ets.None}
	for _, name := range []string{"AirPassengers", "UKgas", "nottem", "USAccDeaths", "co2"} {
		y, period := forecasttest.DataSet(t, name)
		s := forecast.Plain(y, period)
		d, err := stl.Decompose(s, stl.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		row := forecasttest.Ref(t, "stl_ets_"+name+"_fixed")
		var given struct{ Alpha, Beta, Phi float64 }
		row.Into(t, &given)
		fixed := ets.Fixed{Model: damped, Alpha: given.Alpha, Beta: given.Beta, Phi: given.Phi, Level: y[0] - d.Seasonal.Values[0]}
		for of, row := range map[forecast.Model]forecasttest.Reference{
			&fixed: row,
			damped: forecasttest.Ref(t, "stl_ets_"+name+"_free"),
		} {
			fit, err := stl.Model{Of: of}.Fit(s)
			if err != nil {
				t.Fatal(err)
			}
			row.Equal(t, fit.Forecast(int(period)).Means()...)
		}
	}
}
