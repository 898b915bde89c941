package combine_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
)

func TestAverageContract(t *testing.T) {
	m := combine.Average{Models: []forecast.Model{naive.Seasonal{}, naive.Mean{}, naive.Drift{}}, Weights: []float64{2, 1, 1}}
	forecasttest.Contract(t, m, weekly(), forecasttest.Traits{ScaleFree: true, ShiftFree: true})
	forecasttest.Contract(t, combine.Average{Models: m.Models, Origins: 3}, air(t), forecasttest.Traits{ScaleFree: true})
	forecasttest.Contract(t, combine.Average{Models: m.Models, Weights: m.Weights, Quantiles: true}, weekly(), forecasttest.Traits{ScaleFree: true, ShiftFree: true})
	forecasttest.Contract(t, combine.Log{Of: naive.Seasonal{}}, air(t), forecasttest.Traits{ScaleFree: true})
	forecasttest.Contract(t, combine.Root{Of: naive.Mean{}}, air(t), forecasttest.Traits{ScaleFree: true})
	forecasttest.Contract(t, combine.NonNegative{Of: naive.Last{}}, weekly(), forecasttest.Traits{ScaleFree: true})
	forecasttest.Contract(t, combine.Whole{Of: naive.Mean{}}, weekly(), forecasttest.Traits{})
	forecasttest.Contract(t, combine.Recent{Of: naive.Drift{}, Steps: 50}, weekly(), forecasttest.Traits{ScaleFree: true, ShiftFree: true})
}

// stated is a model that says the same of every step, or fails.
type stated struct{ mu, sigma float64 }

func (m stated) String() string { return fmt.Sprintf("N(%g, %g)", m.mu, m.sigma) }

func (m stated) Fit(s forecast.Series) (forecast.Fit, error) {
	if m.sigma <= 0 {
		return nil, errors.New("no spread")
	}
	return statedFit{m, s}, nil
}

type statedFit struct {
	stated
	s forecast.Series
}

func (f statedFit) Fitted() []float64 { return make([]float64, f.s.Len()) }

func (f statedFit) Forecast(h int) forecast.Forecast {
	out := forecast.Forecast{Start: f.s.End(), Step: f.s.Step}
	for range h {
		out.Dists = append(out.Dists, distuv.Normal{Mu: f.mu, Sigma: f.sigma})
	}
	return out
}

func (f statedFit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := forecast.NewPaths(f.s.End(), f.s.Step, h, n)
	for i := range p.Values {
		p.Values[i] = f.mu + f.sigma*rng.NormFloat64()
	}
	return p
}

// The pool's quantiles are those of the mixture, whose distribution function
// is the weighted mean of its members'.
func TestPool(t *testing.T) {
	s := forecast.Plain([]float64{1}, 1)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "members")
		a := combine.Average{Trim: rapid.SampledFrom([]float64{0, .25, .49}).Draw(t, "trim")}
		total, mean := 0.0, 0.0
		for range n {
			m := stated{rapid.Float64Range(-50, 50).Draw(t, "mu"), rapid.Float64Range(.1, 20).Draw(t, "sigma")}
			w := rapid.Float64Range(.1, 10).Draw(t, "weight")
			a.Models, a.Weights = append(a.Models, m), append(a.Weights, w)
			total += w
			mean += w * m.mu
		}
		f, err := a.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, w := range f.(forecast.Describer).Parameters() {
			sum += w
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("want weights that sum to 1, have %v", sum)
		}
		d := f.Forecast(1).Dists[0]
		if a.Trim == 0 && math.Abs(d.Mean()-mean/total) > 1e-9 {
			t.Fatalf("want mean %v, have %v", mean/total, d.Mean())
		}
		if a.Trim > 0 && (d.Mean() < d.Quantile(a.Trim) || d.Mean() > d.Quantile(1-a.Trim)) {
			t.Fatalf("the middle's mean %v lies outside of %v to %v", d.Mean(), d.Quantile(a.Trim), d.Quantile(1-a.Trim))
		}
		for _, p := range []float64{.025, .1, .5, .9, .975} {
			below := 0.0
			for i, m := range a.Models {
				m := m.(stated)
				below += a.Weights[i] / total * distuv.Normal{Mu: m.mu, Sigma: m.sigma}.CDF(d.Quantile(p))
			}
			// Each member's midpoints miss its own by half a hundredth at most.
			if math.Abs(below-p) > .011 {
				t.Fatalf("want %v below the %v quantile, have %v", p, p, below)
			}
		}
	})
}

func TestAverageLeavesOut(t *testing.T) {
	s := forecast.Plain([]float64{1}, 1)
	f := fit(t, combine.Average{Models: []forecast.Model{stated{5, 1}, stated{9, 0}}}, s).Forecast(1)
	if len(f.Warnings) != 1 || !strings.Contains(f.Warnings[0].Error(), "left out: no spread") || math.Abs(f.Dists[0].Mean()-5) > 1e-9 {
		t.Errorf("want the mean 5 and the failure among the warnings, have %v and %v", f.Dists[0].Mean(), f.Warnings)
	}
	if _, err := (combine.Average{Models: []forecast.Model{stated{9, 0}}}).Fit(s); err == nil {
		t.Error("want an error where every model fails")
	}
}

// On a history with a season, rolling origins must give the season's model
// more weight than the last value's.
func TestAverageOrigins(t *testing.T) {
	m := combine.Average{Models: []forecast.Model{naive.Seasonal{}, naive.Last{}}, Origins: 5}
	p := fit(t, m, air(t)).(forecast.Describer).Parameters()
	if !(p["weight of seasonal-naive"] > .6) {
		t.Errorf("want more than .6 on the season, have %v", p)
	}
}

// Half of N(0, 1) lies below 0: held there, the mean is 1/sqrt(2 pi).
func TestNonNegative(t *testing.T) {
	f := fit(t, combine.NonNegative{Of: stated{0, 1}}, forecast.Plain([]float64{1}, 1))
	d := f.Forecast(1).Dists[0]
	if want := 1 / math.Sqrt(2*math.Pi); math.Abs(d.Mean()-want) > .002 || d.Quantile(.3) != 0 || d.Quantile(.9) < 1.28 {
		t.Errorf("want mean %.4f and a 30 %% quantile of 0, have %v and %v", want, d.Mean(), d.Quantile(.3))
	}
	for _, v := range f.Simulate(2, 50, rand.New(rand.NewPCG(1, 1))).Values {
		if v < 0 {
			t.Fatal("a path below 0")
		}
	}
	// Where hardly anything lies below 0, the least quantiles are held as well.
	f = fit(t, combine.NonNegative{Of: stated{3, 1}}, forecast.Plain([]float64{1}, 1))
	if q := f.Forecast(1).Dists[0].Quantile(1e-4); q != 0 {
		t.Errorf("want 0, have %v", q)
	}
}

// A path comes from one model all the way.
func TestAveragePaths(t *testing.T) {
	f := fit(t, combine.Average{Models: []forecast.Model{stated{-10, 1}, stated{10, 1}}, Weights: []float64{1, 3}}, forecast.Plain([]float64{1}, 1))
	const n = 2000
	p := f.Simulate(3, n, rand.New(rand.NewPCG(1, 1)))
	up := 0
	for i := range n {
		path := p.Path(i)
		if (path[0] > 0) != (path[1] > 0) || (path[1] > 0) != (path[2] > 0) {
			t.Fatalf("path %v changes its model", path)
		}
		if path[0] > 0 {
			up++
		}
	}
	if share := float64(up) / n; math.Abs(share-.75) > .04 { // four standard errors
		t.Errorf("want .75 of the paths from the second model, have %v", share)
	}
}

func TestRecent(t *testing.T) {
	values := []float64{100, 100, 100, 1, 2, 3, 2}
	f := fit(t, combine.Recent{Of: naive.Mean{}, Steps: 4}, forecast.Plain(values, 1))
	if fitted := f.Fitted(); !math.IsNaN(fitted[2]) || fitted[4] != 1 {
		t.Errorf("want nothing for the first steps and 1 for the fifth, have %v", fitted)
	}
	if mean := f.Forecast(1).Dists[0].Mean(); mean != 2 {
		t.Errorf("want 2, the mean of the last 4, have %v", mean)
	}
}

// Averaged quantiles of normals are a normal's, with the means of both
// parameters (by arithmetic), and its futures have the same marginals.
func TestAverageOfQuantiles(t *testing.T) {
	m := combine.Average{Models: []forecast.Model{stated{0, 1}, stated{8, 3}}, Weights: []float64{1, 3}, Quantiles: true}
	fit, err := m.Fit(weekly())
	if err != nil {
		t.Fatal(err)
	}
	want := distuv.Normal{Mu: 6, Sigma: 2.5}
	d := fit.Forecast(1).Dists[0]
	draws := fit.Simulate(1, 20000, rand.New(rand.NewPCG(1, 2)))
	drawn := forecast.NewEmpirical(draws.Values)
	for _, p := range []float64{.025, .1, .5, .9, .975} {
		if have := d.Quantile(p); math.Abs(have-want.Quantile(p)) > .01 {
			t.Errorf("want %.3f at %g, have %.3f", want.Quantile(p), p, have)
		}
		if have := drawn.Quantile(p); math.Abs(have-want.Quantile(p)) > .12 {
			t.Errorf("want draws with %.3f at %g, have %.3f", want.Quantile(p), p, have)
		}
	}
	if d.Mean() != 6 {
		t.Errorf("want a mean of 6, have %v", d.Mean())
	}
}
