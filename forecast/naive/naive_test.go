package naive_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
)

func TestContract(t *testing.T) {
	linear := forecasttest.Traits{ScaleFree: true, ShiftFree: true}
	values, period := forecasttest.DataSet(t, "AirPassengers")
	gap := forecast.Plain(append([]float64(nil), values...), period)
	for _, i := range []int{40, 41, 70, 141, 143} {
		gap.Values[i] = math.NaN()
	}
	for _, m := range []forecast.Model{naive.Seasonal{}, naive.Last{}, naive.Drift{}, naive.Mean{}} {
		t.Run(m.String(), func(t *testing.T) {
			forecasttest.Contract(t, m, forecasttest.Weekly(260, 24, .4, 3), linear)
			forecasttest.Contract(t, m, gap, linear)
		})
	}
}

// Means and upper 80 % bounds of R 4.2.2, forecast 8.20: snaive, rwf and rwf
// with drift on AirPassengers, and meanf (whose bounds are Student's t, so
// that its spread is compared by sd times the quantile) at steps 1, 12, 13.
func TestAgainstR(t *testing.T) {
	values, period := forecasttest.DataSet(t, "AirPassengers")
	for _, c := range []struct {
		model       forecast.Model
		mean, upper [3]float64
	}{
		{naive.Seasonal{}, [3]float64{417, 432, 417}, [3]float64{463.540499830937, 478.540499830937, 482.818206060533}},
		{naive.Last{}, [3]float64{432, 432, 432}, [3]float64{475.201626163992, 581.654822971263, 587.7656783177}},
		{naive.Drift{}, [3]float64{434.237762237762, 458.853146853147, 461.090909090909}, [3]float64{477.646602305751, 614.863495438177, 623.994594830916}},
		{naive.Mean{}, [3]float64{280.298611111111, 280.298611111111, 280.298611111111}, [3]float64{434.57453875303, 434.57453875303, 434.57453875303}},
	} {
		fit, err := c.model.Fit(forecast.Plain(values, period))
		if err != nil {
			t.Fatal(err)
		}
		f := fit.Forecast(13)
		for i, step := range []int{1, 12, 13} {
			d := f.Dists[step-1]
			if math.Abs(d.Mean()-c.mean[i]) > 1e-8 {
				t.Errorf("%s step %d: want mean %v, have %v", c.model, step, c.mean[i], d.Mean())
			}
			if u := d.Quantile(.9); math.Abs(u-c.upper[i]) > 1e-8*u {
				t.Errorf("%s step %d: want %v below at 90 %%, have %v", c.model, step, c.upper[i], u)
			}
		}
	}
}

// With a gap the last observed value of the position serves, a season older.
func TestSeasonalLooksThroughGaps(t *testing.T) {
	nan := math.NaN()
	fit, err := naive.Seasonal{}.Fit(forecast.Plain([]float64{1, 10, 3, 12, nan, 16}, 2))
	if err != nil {
		t.Fatal(err)
	}
	// The changes a season apart are 2, 2 and 4.
	sd := math.Sqrt((4. + 4 + 16) / 3)
	f := fit.Forecast(3)
	for j, want := range []distuv.Normal{{Mu: 3, Sigma: sd * math.Sqrt2}, {Mu: 16, Sigma: sd}, {Mu: 3, Sigma: sd * math.Sqrt(3)}} {
		if have := f.Dists[j].(distuv.Normal); have.Mu != want.Mu || math.Abs(have.Sigma-want.Sigma) > 1e-12 {
			t.Errorf("step %d: want %v, have %v", j+1, want, have)
		}
	}
	want := []float64{nan, nan, 1, 10, 3, 12}
	for i, v := range fit.Fitted() {
		if v != want[i] && !(math.IsNaN(v) && math.IsNaN(want[i])) {
			t.Errorf("fitted %d: want %v, have %v", i, want[i], v)
		}
	}
}

// The slope counts the steps that weren't observed, before and after the end.
func TestDriftLooksThroughGaps(t *testing.T) {
	nan := math.NaN()
	fit, err := naive.Drift{}.Fit(forecast.Plain([]float64{nan, 2, 4, nan, 8, nan}, 1))
	if err != nil {
		t.Fatal(err)
	}
	if m := fit.Forecast(2).Means(); m[0] != 12 || m[1] != 14 {
		t.Errorf("want 12 and 14, have %v", m)
	}
	if f := fit.Fitted(); f[3] != 6 || f[4] != 8 || f[5] != 10 {
		t.Errorf("want 6, 8, 10, have %v", f[3:])
	}
}

// A change of 2 over two steps, of which one wasn't observed, and one of 0
// over one: the variance of a step is (2²/2 + 0)/2 = 1.
func TestChangesOverGapsCountBySteps(t *testing.T) {
	fit, err := naive.Last{}.Fit(forecast.Plain([]float64{5, math.NaN(), 7, 7}, 1))
	if err != nil {
		t.Fatal(err)
	}
	if d := fit.Forecast(1).Dists[0]; d != (distuv.Normal{Mu: 7, Sigma: 1}) {
		t.Errorf("want a standard deviation of 1 about 7, have %v", d)
	}
}

func TestShorterThanASeason(t *testing.T) {
	fit, err := naive.Seasonal{}.Fit(forecast.Plain([]float64{4, 6, 5}, 12))
	if err != nil {
		t.Fatal(err)
	}
	f := fit.Forecast(2)
	if m := f.Means(); m[0] != 5 || m[1] != 5 {
		t.Errorf("want the last value, have %v", m)
	}
	if len(f.Warnings) != 1 || !strings.Contains(f.Warnings[0].Error(), "a season apart") {
		t.Errorf("want a warning of the missing season, have %v", f.Warnings)
	}
	one, err := naive.Mean{}.Fit(forecast.Plain([]float64{4}, 1))
	if err != nil {
		t.Fatal(err)
	}
	if f := one.Forecast(1); f.Dists[0] != forecast.Point(4) || len(f.Warnings) != 1 {
		t.Errorf("want 4 with a warning, have %v with %v", f.Dists[0], f.Warnings)
	}
	if _, err := (naive.Last{}).Fit(forecast.Plain([]float64{math.NaN()}, 1)); !errors.Is(err, forecast.ErrNothingObserved) {
		t.Errorf("want %v, have %v", forecast.ErrNothingObserved, err)
	}
}

// The backlog is a sum of weeks: its spread must come from joint paths. Ten
// steps of a walk of unit steps sum to a variance of 1²+2²+…+10² = 385.
func TestPathsOfAWalkAreJoint(t *testing.T) {
	v := make([]float64, 100)
	for i := range v {
		v[i] = float64(i % 2)
	}
	fit, err := naive.Last{}.Fit(forecast.Plain(v, 1))
	if err != nil {
		t.Fatal(err)
	}
	p := fit.Simulate(10, 20000, rand.New(rand.NewPCG(1, 2)))
	sum, squares := 0.0, 0.0
	for i := range p.N() {
		total := 0.0
		for _, x := range p.Path(i) {
			total += x - 1
		}
		sum += total
		squares += total * total
	}
	n := float64(p.N())
	if v := squares/n - sum/n*sum/n; math.Abs(v-385) > 20 {
		t.Errorf("want variance 385 of the sum, have %v", v)
	}
}

func BenchmarkSeasonal(b *testing.B) {
	s := forecasttest.Weekly(260, 24, .4, 1)
	b.ReportAllocs()
	for b.Loop() {
		fit, err := naive.Seasonal{}.Fit(s)
		if err != nil {
			b.Fatal(err)
		}
		fit.Forecast(13)
	}
}
