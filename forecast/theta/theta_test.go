package theta

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

func TestContract(t *testing.T) {
	monthly, period := forecasttest.DataSet(t, "AirPassengers")
	for _, s := range []forecast.Series{forecasttest.Weekly(220, 20, .5, 1), forecast.Plain(monthly, period), forecast.Plain(monthly[:30], 1)} {
		for _, m := range []forecast.Model{Model{}, Optimised{}} {
			forecasttest.Contract(t, m, s, forecasttest.Traits{ScaleFree: true, ShiftFree: s.Period == 1})
		}
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
		f := fit{engine: newDrifting(season.remove(s.Fill()), ses{alpha: at.Alpha, first: at.L0}), n: s.Len(), season: season}
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
		if _, ours := firstLevel(x, g.(*fit).engine.(*drifting).alpha); ours > theirs*(1+1e-9) {
			t.Errorf("%s: want a sum of squares of %v or less, have %v", name, theirs, ours)
		}
	}
}

// The 80 % range of R 4.2.2's forecast::thetaf 8.20 on AirPassengers, half
// width: R leaves the season out of it.
func TestRange(t *testing.T) {
	values, period := forecasttest.DataSet(t, "AirPassengers")
	f, err := Model{}.Fit(forecast.Plain(values, period))
	if err != nil {
		t.Fatal(err)
	}
	g := f.(*fit)
	for i, d := range f.Forecast(12).Dists {
		half := (d.Quantile(.9) - d.Quantile(.1)) / 2 / g.season.figure[i]
		if want, ok := map[int]float64{0: 453.8626 - 440.0782, 1: 446.3666 - 428.3843, 11: 488.3501 - 447.6449}[i]; ok && math.Abs(half-want) > .01 {
			t.Errorf("step %d: want %v, have %v", i+1, want, half)
		}
	}
}

// The spread of a sum follows from joint paths alone.
func TestSums(t *testing.T) {
	const h, n = 8, 40000
	values, period := forecasttest.DataSet(t, "USAccDeaths")
	for _, m := range []forecast.Model{Model{}, Optimised{}} {
		f, err := m.Fit(forecast.Plain(values, period))
		if err != nil {
			t.Fatal(err)
		}
		g := f.(*fit)
		variance := 0.0
		for j := range h {
			one, moved := make([]float64, h), make([]float64, h)
			one[j] = g.engine.spread()
			g.engine.respond(one, moved)
			sum := 0.0
			for i, v := range moved {
				sum += v * g.season.scale(g.n+i)
			}
			variance += sum * sum
		}
		p := f.Simulate(h, n, rand.New(rand.NewPCG(1, 1)))
		sums := make([]float64, n)
		for i := range sums {
			sums[i] = floats.Sum(p.Path(i))
		}
		if have, want := stat.StdDev(sums, nil), math.Sqrt(variance); math.Abs(have/want-1) > .02 {
			t.Errorf("%v: want a standard deviation of %v, have %v", m, want, have)
		}
	}
}

// At every step the line is the least squares line through the values so far.
func TestLine(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	l := line{decay: 1}
	var at, y []float64
	for i := range 40 {
		at, y = append(at, float64(i+1)), append(y, 5+.3*float64(i)+rng.NormFloat64())
		l.take(y[i], .3)
		if i == 0 {
			continue
		}
		a, b := stat.LinearRegression(at, y, nil, false)
		if math.Abs(l.a-a) > 1e-10 || math.Abs(l.b-b) > 1e-10 || math.Abs(l.decay-math.Pow(.7, float64(i+1))) > 1e-12 {
			t.Fatalf("%d values: want %v + %v t, have %v + %v t", i+1, a, b, l.a, l.b)
		}
	}
}

// respond is what one surprise changes of the forecasts made after it.
func TestRespond(t *testing.T) {
	x := []float64{12, 15, 11, 16, 14, 19, 15, 18, 21}
	d := newDynamic(x)
	d.alpha, d.weight = .1, .5 // such that the first values still count
	d.last = d.start()
	for _, v := range x {
		d.last.take(v-d.shift, d.alpha)
	}
	base := d.means(6)
	errors, moved := []float64{2, 0, 0, 0, 0, 0}, make([]float64, 6)
	d.respond(errors, moved)
	d.last.take(base[0]+2-d.shift, d.alpha)
	for i, v := range d.means(5) {
		if want := v - base[i+1]; math.Abs(moved[i+1]-want) > 1e-12 {
			t.Errorf("%d steps later: want %v, have %v", i+1, want, moved[i+1])
		}
	}
}

// No other constants within bounds have smaller errors, and the sum of squares
// is that of the one-step forecasts.
func TestOptimum(t *testing.T) {
	for _, name := range names {
		values, period := forecasttest.DataSet(t, name)
		s := forecast.Plain(values, period)
		season, _, err := findSeason(s)
		if err != nil {
			t.Fatal(err)
		}
		x := season.remove(s.Fill())
		squares := func(d dynamic) (sum float64) {
			for i, v := range d.expected(x) {
				if i >= uncounted {
					sum += (x[i] - v) * (x[i] - v)
				}
			}
			return sum
		}
		d := newDynamic(x)
		least := squares(*d)
		if want := least / float64(len(x)-5); math.Abs(d.sigma*d.sigma/want-1) > 1e-9 {
			t.Errorf("%s: want a variance of %v, have %v", name, want, d.sigma*d.sigma)
		}
		for _, change := range []struct{ alpha, weight, first float64 }{
			{1e-3, 0, 0}, {-1e-3, 0, 0}, {0, 1e-3, 0}, {0, -1e-3, 0}, {0, 0, 1e-3}, {0, 0, -1e-3},
			{.3, .1, .1}, {-.3, -.1, .1}, {.1, -.5, -.1}, {-.05, .3, 0},
		} {
			e := *d
			e.alpha += change.alpha
			e.weight += change.weight
			e.first += change.first * x[0]
			if e.alpha < leastAlpha || e.alpha > mostAlpha || e.weight < 0 || e.weight > 1 {
				continue
			}
			if v := squares(e); v < least*(1-1e-9) {
				t.Errorf("%s: alpha %v, weight %v, first %v: %v is less than %v", name, e.alpha, e.weight, e.first, v, least)
			}
		}
	}
}

// Fitted values are those that a forecast from the step before would give with
// the same constants.
func TestFitted(t *testing.T) {
	values, period := forecasttest.DataSet(t, "UKgas")
	for _, m := range []forecast.Model{Model{}, Optimised{}} {
		f, err := m.Fit(forecast.Plain(values, period))
		if err != nil {
			t.Fatal(err)
		}
		g := f.(*fit)
		fitted, x := f.Fitted(), g.season.remove(append([]float64(nil), values...))
		t0 := len(values) - 7
		var have float64
		switch e := g.engine.(type) {
		case *drifting:
			past := *e
			past.n, past.last = t0, e.first
			for _, v := range x[:t0] {
				past.last += past.alpha * (v - past.last)
			}
			have = past.means(1)[0]
		case *dynamic:
			past := *e
			past.last = past.start()
			for _, v := range x[:t0] {
				past.last.take(v-past.shift, past.alpha)
			}
			have = past.means(1)[0]
		}
		if want := g.season.add(t0, have); math.Abs(fitted[t0]-want) > 1e-9*want {
			t.Errorf("%v: want %v, have %v", m, want, fitted[t0])
		}
	}
}

func TestSeasons(t *testing.T) {
	values, period := forecasttest.DataSet(t, "nottem")
	with := func(change func(i int, v float64) float64) forecast.Series {
		out := make([]float64, len(values))
		for i, v := range values {
			out[i] = change(i, v)
		}
		return forecast.Plain(out, period)
	}
	rng := rand.New(rand.NewPCG(3, 3))
	for _, c := range []struct {
		name    string
		s       forecast.Series
		period  float64
		warning string
	}{
		{"as it is", with(func(_ int, v float64) float64 { return v }), 12, ""},
		{"below 0", with(func(_ int, v float64) float64 { return v - 50 }), 12, "additive season"},
		{"gap", with(func(i int, v float64) float64 {
			if i > 50 && i < 60 {
				return math.NaN()
			}
			return v
		}), 12, "9 steps not observed"},
		{"dead month", with(func(i int, v float64) float64 {
			if i%12 == 0 {
				return 1e-6
			}
			return v
		}), 1, "all but 0"},
		{"noise", with(func(int, float64) float64 { return 9 + rng.NormFloat64() }), 1, ""},
		{"two seasons", with(func(_ int, v float64) float64 { return v }).Slice(0, 24), 1, ""},
	} {
		f, err := Model{}.Fit(c.s)
		if err != nil {
			t.Fatal(err)
		}
		w := fmt.Sprint(f.Forecast(1).Warnings)
		if p := f.(forecast.Describer).Parameters()["period"]; p != c.period || !strings.Contains(w, c.warning) || (w == "[]") != (c.warning == "") {
			t.Errorf("%s: want period %v and a warning of %q, have %v and %s", c.name, c.period, c.warning, p, w)
		}
	}
	// An additive season of values that lie 50 lower is about as good.
	f, err := Model{}.Fit(with(func(_ int, v float64) float64 { return v - 50 }))
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range forecasttest.Ref(t, "theta_nottem_free").Values(t) {
		if have := f.Forecast(12).Means()[i] + 50; math.Abs(have-v) > 1 {
			t.Errorf("step %d: want about %v, have %v", i+1, v, have)
		}
	}
}

func TestRefusals(t *testing.T) {
	nan := math.NaN()
	for need, m := range map[int]forecast.Model{4: Model{}, 8: Optimised{}} {
		var short *forecast.TooShort
		if _, err := m.Fit(forecast.Plain(make([]float64, need-1), 1)); !errors.As(err, &short) || short.Need != need || short.Have != need-1 {
			t.Errorf("%v: want an error that needs %d, have %v", m, need, err)
		}
		f, err := m.Fit(forecast.Plain([]float64{5, 7, 4, 6, 8, 3, 5, 4}, 1))
		if err != nil {
			t.Fatal(err)
		}
		for name, call := range map[string]func(){
			"forecast": func() { f.Forecast(0) },
			"simulate": func() { f.Simulate(3, 0, rand.New(rand.NewPCG(1, 1))) },
		} {
			func() {
				defer func() {
					if recover() == nil {
						t.Errorf("%v: %s of nothing: want a panic", m, name)
					}
				}()
				call()
			}()
		}
	}
	sparse := forecast.Plain([]float64{5, nan, nan, 6, nan, nan, 4, nan, nan, 6, nan}, 1)
	if _, err := (Model{}).Fit(sparse); err == nil || !strings.Contains(err.Error(), "half of 11 steps observed, have 4") {
		t.Errorf("want an error, have %v", err)
	}
}

// The search allocates nothing a step.
func TestAllocations(t *testing.T) {
	s := forecasttest.Weekly(260, 20, .4, 1)
	for _, m := range []forecast.Model{Model{}, Optimised{}} {
		if n := testing.AllocsPerRun(3, func() {
			if _, err := m.Fit(s); err != nil {
				t.Fatal(err)
			}
		}); n > 30 {
			t.Errorf("%v: want 30 allocations or fewer, have %v", m, n)
		}
	}
}

func BenchmarkFit(b *testing.B) {
	s := forecasttest.Weekly(260, 20, .4, 1)
	for _, m := range []forecast.Model{Model{}, Optimised{}} {
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
