// Package forecasttest holds the contract that every forecast.Model passes,
// and the reference numbers that tests compare with.
//
// A model's own test calls [Contract] once with a history that suits it. The
// package imports testing, so only tests may import it.
package forecasttest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"freshet/forecast"
)

// Traits says what else holds for a model.
type Traits struct {
	Counts    bool // forecasts are whole numbers, never negative
	ScaleFree bool // 1000 times the values give 1000 times the forecast
	ShiftFree bool // 1000 more a value give 1000 more a forecast
}

// Contract fails t where m breaks the promises of forecast.Model on s, or
// gives nonsense on a hostile history.
func Contract(t *testing.T, m forecast.Model, s forecast.Series, traits Traits) {
	t.Helper()
	fit, err := m.Fit(s)
	if err != nil {
		t.Fatalf("%s: fit: %v", m, err)
	}
	const h = 20

	t.Run("misuse", func(t *testing.T) {
		Refuses(t, "forecast: ", map[string]func(){
			"a forecast of no steps": func() { fit.Forecast(0) },
			"paths of no steps":      func() { fit.Simulate(0, 1, rand.New(rand.NewPCG(1, 1))) },
			"no paths":               func() { fit.Simulate(h, 0, rand.New(rand.NewPCG(1, 1))) },
		})
	})

	t.Run("settings only", func(t *testing.T) {
		name := m.String()
		kept := slices.Clone(s.Values)
		again, err := m.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		if m.String() != name || name == "" {
			t.Errorf("name changed from %q to %q", name, m)
		}
		if !sameBits(kept, s.Values) {
			t.Error("Fit changed the series")
		}
		if !sameBits(fit.Forecast(h).Means(), again.Forecast(h).Means()) {
			t.Error("two fits of one series differ")
		}
		tail := slices.Clone(s.Values)
		kept2 := s.Like(tail)
		f, err := m.Fit(kept2)
		if err != nil {
			t.Fatal(err)
		}
		before := f.Forecast(h).Means()
		for i := range tail {
			tail[i] = 1e6
		}
		if !sameBits(before, f.Forecast(h).Means()) {
			t.Error("the fit keeps the caller's values")
		}
	})
	t.Run("shape", func(t *testing.T) {
		if got := len(fit.Fitted()); got != s.Len() {
			t.Errorf("want %d fitted values, have %d", s.Len(), got)
		}
		f := fit.Forecast(h)
		if len(f.Dists) != h || f.Start != s.End() || f.Step != s.Step {
			t.Errorf("want %d steps of %d from %v, have %d of %d from %v", h, s.Step, s.End(), len(f.Dists), f.Step, f.Start)
		}
		if short := fit.Forecast(5).Means(); !closeTo(short, f.Means()[:5], 1e-9) {
			t.Errorf("the first 5 steps depend on how many are asked for: %v, %v", short, f.Means()[:5])
		}
	})
	t.Run("distributions", func(t *testing.T) { Sane(t, fit.Forecast(h), traits) })
	t.Run("paths", func(t *testing.T) {
		const n = 4000
		p := fit.Simulate(h, n, rand.New(rand.NewPCG(1, 2)))
		q := fit.Simulate(h, n, rand.New(rand.NewPCG(1, 2)))
		if p.N() != n || p.H != h || p.Start != s.End() {
			t.Fatalf("want %d paths of %d from %v, have %d of %d from %v", n, h, s.End(), p.N(), p.H, p.Start)
		}
		if !sameBits(p.Values, q.Values) {
			t.Error("one seed gave two sets of paths")
		}
		f := fit.Forecast(h)
		for j := range h {
			d := p.Dist(j)
			spread := d.Quantile(.9) - d.Quantile(.1)
			for _, c := range []struct {
				what       string
				have, want float64
			}{
				{"mean", d.Mean(), f.Dists[j].Mean()},
				{"10 %", d.Quantile(.1), f.Dists[j].Quantile(.1)},
				{"90 %", d.Quantile(.9), f.Dists[j].Quantile(.9)},
			} {
				slack := .12*spread + 1e-9*math.Abs(c.want)
				if traits.Counts {
					slack++ // quantiles of counts step by one
				}
				if !(math.Abs(c.have-c.want) <= slack) {
					t.Errorf("step %d: %s of the paths is %.4g, of the forecast %.4g", j+1, c.what, c.have, c.want)
				}
			}
			if traits.Counts {
				for i := range n {
					if v := p.Path(i)[j]; v < 0 || v != math.Floor(v) {
						t.Fatalf("step %d, path %d: %v isn't a count", j+1, i, v)
					}
				}
			}
		}
	})
	transform := func(name string, on bool, f func(float64) float64) {
		if !on {
			return
		}
		t.Run(name, func(t *testing.T) {
			v := make([]float64, s.Len())
			for i, x := range s.Values {
				v[i] = f(x)
			}
			g, err := m.Fit(s.Like(v))
			if err != nil {
				t.Fatal(err)
			}
			want := fit.Forecast(h).Means()
			for i := range want {
				want[i] = f(want[i])
			}
			if have := g.Forecast(h).Means(); !closeTo(have, want, 1e-9) {
				t.Errorf("want %v, have %v", want, have)
			}
		})
	}
	transform("scale", traits.ScaleFree, func(x float64) float64 { return 1000 * x })
	transform("shift", traits.ShiftFree, func(x float64) float64 { return 1000 + x })
	t.Run("hostile", func(t *testing.T) {
		for name, bad := range Hostile(s) {
			fit, err := m.Fit(bad)
			if err != nil {
				if err.Error() == "" {
					t.Errorf("%s: empty error", name)
				}
				continue
			}
			t.Run(name, func(t *testing.T) {
				Sane(t, fit.Forecast(h), traits)
				for i, v := range fit.Simulate(h, 50, rand.New(rand.NewPCG(3, 4))).Values {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("path value %d is %v", i, v)
					}
				}
			})
		}
	})
}

// Hostile gives histories that a real shop can produce and that break careless
// models. A model may refuse them with an error; it may not answer nonsense.
func Hostile(like forecast.Series) map[string]forecast.Series {
	series := func(n int, f func(i int) float64) forecast.Series {
		v := make([]float64, n)
		for i := range v {
			v[i] = f(i)
		}
		return like.Like(v)
	}
	rng := rand.New(rand.NewPCG(5, 6))
	noise := func(int) float64 { return float64(10 + rng.IntN(20)) }
	gap := series(300, noise)
	for i := 100; i < 140; i++ {
		gap.Values[i] = math.NaN()
	}
	blunder := series(200, noise)
	blunder.Values[150] = 10000
	ragged := series(120, noise)
	for i := range ragged.Values {
		if i%3 != 0 {
			ragged.Values[i] = math.NaN()
		}
	}
	return map[string]forecast.Series{
		"nothing":         series(0, nil),
		"one row":         series(1, func(int) float64 { return 4 }),
		"two rows":        series(2, func(i int) float64 { return float64(i) }),
		"three":           series(3, noise),
		"short":           series(20, noise),
		"one season":      series(int(like.Period)+1, noise),
		"two seasons":     series(2*int(like.Period)+1, noise),
		"all zeros":       series(160, func(int) float64 { return 0 }),
		"constant":        series(160, func(int) float64 { return 7 }),
		"stopped":         series(200, func(i int) float64 { return float64(max(0, 100-i) % 13) }),
		"starts late":     series(200, func(i int) float64 { return float64(max(0, i-150) % 13) }),
		"all unobserved":  series(60, func(int) float64 { return math.NaN() }),
		"first ones gone": series(160, func(i int) float64 { return map[bool]float64{true: math.NaN(), false: float64(i % 9)}[i < 30] }),
		"gap":             gap,
		"ragged":          ragged,
		"blunder":         blunder,
		"negative":        series(160, func(i int) float64 { return float64(i%7) - 3 }),
		"huge":            series(160, func(i int) float64 { return 1e9 * float64(1+i%7) }),
		"tiny":            series(160, func(i int) float64 { return 1e-9 * float64(1+i%7) }),
		"rising":          series(160, func(i int) float64 { return float64(i) }),
		"explosive":       series(60, func(i int) float64 { return math.Pow(2, float64(i)) }),
	}
}

// Sane fails t where a distribution of f has a quantile that isn't finite (but
// for its ends) or falls as p rises, or, for counts, that isn't whole or is
// negative.
func Sane(t testing.TB, f forecast.Forecast, traits Traits) {
	t.Helper()
	for j, d := range f.Dists {
		last := math.Inf(-1)
		for _, p := range []float64{.025, .1, .25, .5, .75, .8, .9, .975} {
			q := d.Quantile(p)
			if math.IsNaN(q) || math.IsInf(q, 0) {
				t.Fatalf("step %d: the %g quantile is %v", j+1, p, q)
			}
			if q < last {
				t.Fatalf("step %d: the %g quantile %v lies below a lower one %v", j+1, p, q, last)
			}
			last = q
			if traits.Counts && (q < 0 || q != math.Floor(q)) {
				t.Fatalf("step %d: the %g quantile %v isn't a count", j+1, p, q)
			}
		}
		if low, high := d.Quantile(0), d.Quantile(1); !(low <= high) {
			t.Fatalf("step %d: the ends are %v and %v", j+1, low, high)
		}
		if m := d.Mean(); math.IsNaN(m) || math.IsInf(m, 0) || traits.Counts && m < 0 {
			t.Fatalf("step %d: the mean is %v", j+1, m)
		}
	}
	for _, w := range f.Warnings {
		if w == nil || w.Error() == "" {
			t.Fatal("an empty warning")
		}
	}
}

func sameBits(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) })
}

func closeTo(a, b []float64, rel float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) <= rel*(1+max(math.Abs(x), math.Abs(y))) })
}

// Weekly gives n weeks from a Monday in January of invented drop-offs with a
// season, for tests of models that want a shop's history.
func Weekly(n int, level, amplitude float64, seed uint64) forecast.Series {
	rng := rand.New(rand.NewPCG(seed, 9))
	s := forecast.Series{Start: forecast.NewDate(2018, 1, 1), Step: forecast.Week, Period: forecast.WeeksAYear, Values: make([]float64, n)}
	for i := range s.Values {
		mu := level * math.Exp(amplitude*math.Sin(2*math.Pi*(s.Phase(i)-.1)))
		// Poisson by counting unit exponentials: slow and plain.
		k := -1.0
		for sum := 0.0; sum < mu; k++ {
			sum += rng.ExpFloat64()
		}
		s.Values[i] = k
	}
	return s
}

// Name labels a subtest by model.
func Name(m forecast.Model) string { return fmt.Sprint(m) }
