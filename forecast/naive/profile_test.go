package naive_test

import (
	"math"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
)

func TestProfileContract(t *testing.T) {
	forecasttest.Contract(t, naive.Profile{}, forecasttest.Weekly(220, 20, .5, 1), forecasttest.Traits{ScaleFree: true})
}

// A season that repeats to the bit is its own profile, and a level that
// doubled for half a year doubles what follows.
func TestProfile(t *testing.T) {
	s := forecast.Plain(make([]float64, 8*40), 40)
	for i := range s.Values {
		s.Values[i] = 10 + float64(i%40)/10
		if i >= len(s.Values)-26 {
			s.Values[i] *= 2
		}
	}
	shape := naive.Shape(s.Slice(0, 7*40), 0)
	for k, v := range shape {
		if want := 10 + float64(k)/10; math.Abs(v-want) > 1e-9 {
			t.Fatalf("shape[%d]: want %v, have %v", k, want, v)
		}
	}
	for i := range s.Values {
		s.Values[i] = 10
		if i >= len(s.Values)-26 {
			s.Values[i] = 20
		}
	}
	fit, err := naive.Profile{}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	// The doubled weeks lift their own profile to 11.25, so that the level is
	// close to 20/11.25; the next week's profile is 10 but for three lifted
	// neighbours of weight 1.5 in 4: 10.47.
	if m := fit.Forecast(1).Means()[0]; math.Abs(m-10.47*20/11.25) > .3 {
		t.Errorf("want about 18.6, have %v", m)
	}
}
