package combine_test

import (
	"math"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/forecasttest"
)

// air is R's AirPassengers, 144 months (R's datasets package).
func air(t testing.TB) forecast.Series {
	values, period := forecasttest.DataSet(t, "AirPassengers")
	return forecast.Plain(values, period)
}

func weekly() forecast.Series { return forecasttest.Weekly(220, 20, .5, 1) }

func TestAutoContract(t *testing.T) {
	for name, c := range map[string]struct {
		model  combine.Auto
		s      forecast.Series
		traits forecasttest.Traits
	}{
		"months":       {combine.Auto{}, air(t), forecasttest.Traits{ScaleFree: true}},
		"no season":    {combine.Auto{}, forecast.Plain(air(t).Values, 1), forecasttest.Traits{ScaleFree: true}},
		"weeks":        {combine.Auto{NonNegative: true}, weekly(), forecasttest.Traits{}},
		"weeks, count": {combine.Auto{Counts: true}, weekly(), forecasttest.Traits{Counts: true}},
	} {
		if testing.Short() && name != "no season" {
			continue // the others take ten seconds each under the race detector
		}
		t.Run(name, func(t *testing.T) { forecasttest.Contract(t, c.model, c.s, c.traits) })
	}
}

// A series of both signs must be forecast as well, moved by what it is moved.
func TestAutoShift(t *testing.T) {
	s := air(t)
	moved := func(by float64) forecast.Series {
		v := make([]float64, s.Len())
		for i, x := range s.Values {
			v[i] = x - by
		}
		return s.Like(v)
	}
	a, b := fit(t, combine.Auto{}, moved(300)), fit(t, combine.Auto{}, moved(330))
	for j, want := range a.Forecast(18).Means() {
		if have := b.Forecast(18).Means()[j] + 30; math.Abs(have-want) > 1e-6*math.Abs(want) {
			t.Errorf("step %d: want %v, have %v", j+1, want, have)
		}
	}
}

func TestAutoChoice(t *testing.T) {
	nan := math.NaN()
	bumpy := make([]float64, 96)
	for i := range bumpy {
		bumpy[i] = float64(i%12*i%7) + 10*max(0, math.Sin(float64(i)*math.Pi/6))
	}
	for _, c := range []struct {
		name   string
		model  combine.Auto
		values []float64
		chosen string // model
		why    string // among the warnings
	}{
		{"one value", combine.Auto{}, []float64{12}, "mean of a few values", "need 8 values to choose a model, have 1"},
		{"gaps", combine.Auto{NonNegative: true}, []float64{nan, 3, nan, 4}, "mean of a few values, never negative", "have 2"},
		{"one count", combine.Auto{Counts: true}, []float64{5}, "mean of a few values", "have 1"},
		{"constant", combine.Auto{}, []float64{7, 7, 7, 7, 7, 7, 7, 7}, "mean", "all 8 values are the same"},
		{"counts", combine.Auto{Counts: true}, bumpy[:0:0], "", ""},
		{"deep season", combine.Auto{}, bumpy, "root seasonal-naive", "average of 4 models"},
		{"positive", combine.Auto{}, air(t).Values, "log ETS(A,Ad,Z)", "average of 6 models"},
	} {
		f, err := c.model.Fit(forecast.Plain(c.values, 12))
		if c.chosen == "" {
			if err == nil {
				t.Errorf("%s: want an error", c.name)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if name := f.(*combine.Chosen).Model.String(); !strings.Contains(name, c.chosen) {
			t.Errorf("%s: want %q, have %q", c.name, c.chosen, name)
		}
		next := f.Forecast(3)
		said := false
		for _, w := range next.Warnings {
			said = said || strings.Contains(w.Error(), c.why)
		}
		if !said {
			t.Errorf("%s: want %q among the warnings, have %v", c.name, c.why, next.Warnings)
		}
		if d := next.Dists[0]; c.name != "constant" && !(d.Quantile(.9) > d.Quantile(.1)) {
			t.Errorf("%s: want a range, have %v to %v", c.name, d.Quantile(.1), d.Quantile(.9))
		}
	}
	if _, err := (combine.Auto{Counts: true}).Fit(forecast.Plain([]float64{1, 2.5}, 1)); err == nil {
		t.Error("want an error for half a count")
	}
	if _, err := (combine.Auto{NonNegative: true}).Fit(forecast.Plain([]float64{1, -2}, 1)); err == nil {
		t.Error("want an error for a negative value")
	}
}

func fit(t testing.TB, m forecast.Model, s forecast.Series) forecast.Fit {
	t.Helper()
	f, err := m.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func BenchmarkAuto(b *testing.B) {
	long := make([]float64, 5000)
	for i := range long {
		long[i] = 100 + 10*math.Sin(float64(i)/5) + float64(i*i%31)
	}
	for name, s := range map[string]forecast.Series{
		"144 months": air(b), "220 weeks": weekly(), "5000 without a season": forecast.Plain(long, 1), "5000 of period 52.18": forecast.Plain(long, forecast.WeeksAYear),
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				fit(b, combine.Auto{}, s).Forecast(18)
			}
		})
	}
	b.Run("520 weekly counts", func(b *testing.B) {
		b.ReportAllocs()
		s := forecasttest.Weekly(520, 20, .5, 1)
		for b.Loop() {
			fit(b, combine.Auto{Counts: true}, s).Forecast(13)
		}
	})
}
