package stl_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
	"freshet/forecast/smooth"
	"freshet/forecast/stl"
)

var datasets = []string{"AirPassengers", "UKgas", "nottem", "USAccDeaths", "co2"}

// The stl_* references are R 4.2.2's stats::stl on series of R's datasets
// package. Their numbers are rounded to about 1e-8 of the values.
func TestAgainstR(t *testing.T) {
	every := func(window int) stl.Settings {
		return stl.Settings{Season: stl.Smoother{Window: window, Jump: 1}, Trend: stl.Smoother{Jump: 1}, LowPass: stl.Smoother{Jump: 1}}
	}
	robust := every(13)
	robust.Robust = true
	for _, c := range []struct {
		name string
		o    stl.Settings
	}{
		{"w7_nojump", every(7)},
		{"w13_nojump_robust", robust},
		{"w7", stl.Settings{}},
		{"w7_robust", stl.Settings{Robust: true}},
		{"periodic", stl.Settings{Periodic: true}},
	} {
		for _, name := range datasets {
			values, period := forecasttest.DataSet(t, name)
			d, err := stl.Decompose(forecast.Plain(values, period), c.o)
			if err != nil {
				t.Fatal(err)
			}
			ref := forecasttest.Ref(t, "stl_"+name+"_"+c.name)
			var data struct{ At []int }
			ref.Into(t, &data)
			var have []float64
			for _, part := range []forecast.Series{d.Seasonal, d.Trend, d.Remainder} {
				for _, i := range data.At {
					have = append(have, part.Values[i-1])
				}
			}
			ref.Equal(t, have...)
		}
	}
}

// R 4.2.2, forecast 8.20: mstl(msts(y, c(7, 28))) at steps 1, 100, 200, 400.
func TestMultiAgainstR(t *testing.T) {
	y := make([]float64, 400)
	for i := range y {
		x := float64(i + 1)
		y[i] = 100 + .05*x + 10*math.Sin(2*math.Pi*x/7) + 4*math.Cos(4*math.Pi*x/7) + 20*math.Sin(2*math.Pi*x/28) + float64((i+1)*37%11) - 5
	}
	d, err := stl.Multi(forecast.Plain(y, 7), stl.Settings{}, 28, 7)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		have forecast.Series
		want [4]float64
	}{
		{"trend", d.Trend, [4]float64{100.128015393044, 105.000581589785, 109.998679659088, 119.550694930234}},
		{"season of 7", d.Each[0], [4]float64{6.46187510004366, 6.90958151175574, -1.62011730684222, 8.13297560690371}},
		{"season of 28", d.Each[1], [4]float64{4.94461945011393, -8.69330965167991, 15.6666922343118, 19.3541130870371}},
		{"remainder", d.Remainder, [4]float64{-1.1058601752205, -1.74912458200343, 2.74649687906211, -0.610994291683284}},
	} {
		for k, i := range []int{1, 100, 200, 400} {
			if have := c.have.Values[i-1]; math.Abs(have-c.want[k]) > 1e-9 {
				t.Errorf("%s at %d: want %v, have %v", c.name, i, c.want[k], have)
			}
		}
	}
	for i := range y {
		if sum := d.Trend.Values[i] + d.Seasonal.Values[i] + d.Remainder.Values[i]; math.Abs(sum-y[i]) > 1e-10 {
			t.Fatalf("step %d: want %v, have %v", i, y[i], sum)
		}
	}
}

// season has a bump of a fortnight in early July, by date.
func season(phase float64) float64 {
	d := (phase - math.Floor(phase) - .51) * 365.25 / 7
	return 30 * math.Exp(-d*d/2)
}

// Over twelve years a season of 52 weeks drifts by two; one that goes by the
// date keeps its place, in the history and ahead.
func TestSeasonGoesByDate(t *testing.T) {
	s := forecast.Series{Start: forecast.NewDate(2010, 1, 4), Step: 7, Period: forecast.WeeksAYear, Values: make([]float64, 12*52+9)}
	for i := range s.Values {
		s.Values[i] = 50 + .01*float64(i) + season(s.Phase(i))
	}
	worst := func(period float64) float64 {
		of := s
		of.Period = period
		fit, err := stl.Model{Settings: stl.Settings{Periodic: true}}.Fit(of)
		if err != nil {
			t.Fatal(err)
		}
		e := 0.0
		for j, v := range fit.Forecast(52).Means() {
			e = max(e, math.Abs(v-50-.01*float64(s.Len())-season(s.Phase(s.Len()+j))))
		}
		return e
	}
	if e := worst(forecast.WeeksAYear); e > 6 {
		t.Errorf("by date: off by %v", e)
	}
	if e := worst(52); e < 12 {
		t.Errorf("a whole period ought to drift, but it's off by %v only: this test tells nothing", e)
	}
}

func TestDecomposeAddsUpWithGaps(t *testing.T) {
	s := forecasttest.Weekly(300, 40, .4, 2)
	for i := 60; i < 75; i++ {
		s.Values[i] = math.NaN()
	}
	s.Values[299] = math.NaN()
	for _, o := range []stl.Settings{{}, {Robust: true}, {Periodic: true}} {
		d, err := stl.Decompose(s, o)
		if err != nil {
			t.Fatal(err)
		}
		for i, y := range s.Values {
			tr, se, re := d.Trend.Values[i], d.Seasonal.Values[i], d.Remainder.Values[i]
			if math.IsNaN(tr+se) || math.IsNaN(re) != math.IsNaN(y) {
				t.Fatalf("step %d: trend %v, season %v, remainder %v of %v", i, tr, se, re, y)
			}
			if sum := tr + se + re; math.Abs(sum-y) > 1e-10 {
				t.Fatalf("step %d: want %v, have %v", i, y, sum)
			}
		}
	}
}

// One blunder must not move a robust trend by more than its neighbours' noise.
func TestRobustTrendIgnoresABlunder(t *testing.T) {
	s := forecasttest.Weekly(260, 40, .3, 4)
	clean, err := stl.Decompose(s, stl.Settings{Robust: true})
	if err != nil {
		t.Fatal(err)
	}
	bad := s.Like(slices.Clone(s.Values))
	bad.Values[130] = 4000
	for _, c := range []struct {
		robust bool
		ok     func(float64) bool
	}{{true, func(d float64) bool { return d < 3 }}, {false, func(d float64) bool { return d > 10 }}} {
		d, err := stl.Decompose(bad, stl.Settings{Robust: c.robust})
		if err != nil {
			t.Fatal(err)
		}
		if e := math.Abs(d.Trend.Values[130] - clean.Trend.Values[130]); !c.ok(e) {
			t.Errorf("robust %v: the trend moved by %v", c.robust, e)
		}
	}
}

func TestContract(t *testing.T) {
	linear := forecasttest.Traits{ScaleFree: true, ShiftFree: true}
	values, period := forecasttest.DataSet(t, "USAccDeaths")
	gap := forecast.Plain(slices.Clone(values), period)
	for _, i := range []int{0, 20, 40, 41, 70} {
		gap.Values[i] = math.NaN()
	}
	for _, m := range []forecast.Model{
		stl.Model{},
		stl.Model{Of: naive.Drift{}, Settings: stl.Settings{Periodic: true}},
		stl.Model{Of: smooth.Simple{FreeStart: true}, Settings: stl.Settings{Robust: true}},
	} {
		t.Run(m.String(), func(t *testing.T) {
			forecasttest.Contract(t, m, forecast.Plain(values, period), linear)
			forecasttest.Contract(t, m, gap, linear)
			forecasttest.Contract(t, m, forecasttest.Weekly(260, 40, .4, 3), linear)
		})
	}
}

// With naive.Last the forecast is the last adjusted value and last season's
// seasonal, which stl_*_w7's settings give.
func TestModelAddsTheLastSeason(t *testing.T) {
	for _, name := range datasets {
		values, period := forecasttest.DataSet(t, name)
		s := forecast.Plain(values, period)
		d, err := stl.Decompose(s, stl.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		fit, err := stl.Model{}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		n, m := s.Len(), s.Lag()
		f, p := fit.Forecast(2*m), fit.Simulate(2*m, 1, rand.New(rand.NewPCG(1, 2)))
		adjusted := s.Values[n-1] - d.Seasonal.Values[n-1]
		bare, err := naive.Last{}.Fit(forecast.Plain([]float64{adjusted, adjusted}, 1))
		if err != nil {
			t.Fatal(err)
		}
		for j, have := range f.Means() {
			want := bare.Forecast(1).Dists[0].Mean() + d.Seasonal.Values[n-m+j%m]
			if math.Abs(have-want) > 1e-9*math.Abs(want) {
				t.Errorf("%s step %d: want %v, have %v", name, j+1, want, have)
			}
			if math.IsNaN(p.Values[j]) {
				t.Errorf("%s step %d: the path is NaN", name, j+1)
			}
		}
		if have := fit.Fitted()[n-1]; math.Abs(have-(s.Values[n-2]-d.Seasonal.Values[n-2]+d.Seasonal.Values[n-1])) > 1e-9*math.Abs(have) {
			t.Errorf("%s: fitted %v at the end", name, have)
		}
	}
}

// The other model must not look for a season in what has none left.
func TestModelTellsThatThereIsNoSeason(t *testing.T) {
	values, period := forecasttest.DataSet(t, "UKgas")
	var means [2][]float64
	for i, of := range []forecast.Model{naive.Seasonal{}, naive.Last{}} {
		fit, err := stl.Model{Of: of}.Fit(forecast.Plain(values, period))
		if err != nil {
			t.Fatal(err)
		}
		means[i] = fit.Forecast(8).Means()
	}
	if !slices.Equal(means[0], means[1]) {
		t.Errorf("want %v, have %v", means[1], means[0])
	}
}

func TestRefuses(t *testing.T) {
	var short *forecast.TooShort
	if _, err := stl.Decompose(forecast.Plain(make([]float64, 24), 12), stl.Settings{}); !errors.As(err, &short) || short.Need != 25 || short.Have != 24 {
		t.Errorf("two seasons: have %v", err)
	}
	if _, err := (stl.Model{}).Fit(forecast.Plain(make([]float64, 24), 1)); err == nil || !strings.Contains(err.Error(), "a season of 2 steps") {
		t.Errorf("no season: have %v", err)
	}
	sparse := make([]float64, 40)
	for i := range sparse {
		if i%3 > 0 {
			sparse[i] = math.NaN()
		}
	}
	if _, err := stl.Decompose(forecast.Plain(sparse, 4), stl.Settings{}); err == nil || !strings.Contains(err.Error(), "half of 40 steps observed, have 14") {
		t.Errorf("sparse: have %v", err)
	}
	defer func() {
		if recover() == nil {
			t.Error("Multi without periods must panic")
		}
	}()
	stl.Multi(forecast.Plain(sparse, 4), stl.Settings{})
}

func TestNames(t *testing.T) {
	for want, m := range map[string]forecast.Model{
		"stl-last-value": stl.Model{},
		"stl-drift season=13/0/0 periodic robust":  stl.Model{Of: naive.Drift{}, Settings: stl.Settings{Season: stl.Smoother{Window: 13}, Periodic: true, Robust: true}},
		"stl-simple-smoothing alpha=0.5 loops=5/1": stl.Model{Of: smooth.Simple{Alpha: smooth.Fixed(.5)}, Settings: stl.Settings{Inner: 5, Outer: 1}},
	} {
		if m.String() != want {
			t.Errorf("want %q, have %q", want, m)
		}
	}
}

func BenchmarkDecompose(b *testing.B) {
	s := forecasttest.Weekly(260, 40, .4, 1)
	for name, o := range map[string]stl.Settings{"plain": {}, "periodic": {Periodic: true}, "robust": {Robust: true}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := stl.Decompose(s, o); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
