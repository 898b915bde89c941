package theta

import (
	"math"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

func TestContract(t *testing.T) {
	monthly, period := forecasttest.DataSet(t, "AirPassengers")
	for _, s := range []forecast.Series{forecasttest.Weekly(220, 20, .5, 1), forecast.Plain(monthly, period), forecast.Plain(monthly[:30], 1)} {
		forecasttest.Contract(t, Model{}, s, forecasttest.Traits{ScaleFree: true, ShiftFree: s.Period == 1})
	}
}

var names = []string{"AirPassengers", "UKgas", "nottem", "USAccDeaths", "co2"}

func TestReferences(t *testing.T) {
	for _, name := range names {
		values, period := forecasttest.DataSet(t, name)
		s := forecast.Plain(values, period)
		m := s.Lag()
		forecasttest.Ref(t, "theta_"+name+"_season_test").Equal(t, seasonTest(values, m))

		fixed := forecasttest.Ref(t, "theta_"+name+"_fixed")
		var at struct{ Alpha, L0 float64 }
		fixed.Into(t, &at)
		season, _, err := findSeason(s)
		if err != nil {
			t.Fatal(err)
		}
		f := newFit(season.remove(s.Fill()), ses{alpha: at.Alpha, first: at.L0})
		f.season = season
		fixed.Equal(t, f.Forecast(m).Means()...)

		free := forecasttest.Ref(t, "theta_"+name+"_free")
		free.Into(t, &at)
		g, err := Model{}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		free.Equal(t, g.Forecast(m).Means()...)
		// R's own constant can't have smaller errors than ours.
		x := season.remove(s.Fill())
		_, theirs := firstLevel(x, at.Alpha)
		if _, ours := firstLevel(x, g.(*fit).alpha); ours > theirs*(1+1e-9) {
			t.Errorf("%s: want a sum of squares of %v or less, have %v", name, theirs, ours)
		}
		t.Log(name, g.(*fit).alpha, at.Alpha, math.Abs(g.Forecast(m).Means()[0]/free.Values(t)[0]-1))
	}
}
