package smooth_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
	"freshet/forecast/smooth"
)

func mustFit(t testing.TB, m forecast.Model, s forecast.Series) *smooth.Fit {
	t.Helper()
	f, err := m.Fit(s)
	if err != nil {
		t.Fatalf("%s: %v", m, err)
	}
	return f.(*smooth.Fit)
}

// The nist_single_* references are the NIST/SEMATECH e-Handbook, 6.4.3.1 and
// 6.4.3.2.
func TestSimpleAgainstNIST(t *testing.T) {
	var d struct{ Y []float64 }
	smoothed := forecasttest.Ref(t, "nist_single_smoothed")
	smoothed.Into(t, &d)
	fit := mustFit(t, smooth.Simple{Alpha: smooth.Fixed(.1)}, forecast.Plain(d.Y, 1))
	smoothed.Equal(t, fit.Fitted()[1:]...)
	forecasttest.Ref(t, "nist_single_mse").Equal(t, fit.SSE()/11)
	// The handbook's bootstrap goes on smoothing with the last value held.
	held := append(slices.Clone(d.Y), 70, 70, 70, 70, 70)
	fit = mustFit(t, smooth.Simple{Alpha: smooth.Fixed(.1)}, forecast.Plain(held, 1))
	forecasttest.Ref(t, "nist_single_forecasts").Equal(t, fit.Fitted()[12:]...)
}

// The nist_double_* references are the NIST/SEMATECH e-Handbook, 6.4.3.4.
func TestDoubleAgainstNIST(t *testing.T) {
	var d struct{ Y []float64 }
	levels := forecasttest.Ref(t, "nist_double_level")
	levels.Into(t, &d)
	s := forecast.Plain(d.Y, 1)
	start, err := smooth.HandbookTrend(s)
	if err != nil {
		t.Fatal(err)
	}
	m := smooth.Double{Alpha: smooth.Fixed(.3623), Beta: smooth.Fixed(1), Start: &start}
	have := []float64{start.Level}
	for n := 2; n <= s.Len(); n++ {
		have = append(have, mustFit(t, m, s.Slice(0, n)).State().Level)
	}
	levels.Equal(t, have...)
	fit := mustFit(t, m, s)
	forecasttest.Ref(t, "nist_double_forecasts").Equal(t, fit.Forecast(5).Means()...)
	forecasttest.Ref(t, "nist_double_mse").Equal(t, fit.SSE()/9)
	forecasttest.Ref(t, "nist_double_naive_mse").Equal(t, mustFit(t, smooth.Simple{Alpha: smooth.Fixed(1)}, s).SSE()/9)
}

// The nist_triple_* references are the NIST/SEMATECH e-Handbook's data and
// start formulas, 6.4.3.5; its beta is our gamma.
func TestTripleAgainstNIST(t *testing.T) {
	var d struct{ Y []float64 }
	ref := forecasttest.Ref(t, "nist_triple_start")
	ref.Into(t, &d)
	s := forecast.Plain(d.Y, 4)
	start, err := smooth.HandbookSeason(s, true)
	if err != nil {
		t.Fatal(err)
	}
	ref.Equal(t, append([]float64{start.Trend}, start.Season...)...)
	fit := mustFit(t, smooth.HoltWinters{Multiplicative: true, Alpha: smooth.Fixed(.5), Beta: smooth.Fixed(.2), Gamma: smooth.Fixed(.4), Start: &start}, s)
	forecasttest.Ref(t, "nist_triple_fixed_forecasts").Equal(t, fit.Forecast(4).Means()...)
	forecasttest.Ref(t, "nist_triple_fixed_mse").Equal(t, fit.SSE()/24)
}

// The hw_* references are R 4.2.2's stats::HoltWinters on series of R's
// datasets package; free fits must reach the least sum of squares that R
// found from seven starts.
func TestHoltWintersAgainstR(t *testing.T) {
	for _, name := range []string{"AirPassengers", "UKgas", "nottem", "USAccDeaths", "co2"} {
		values, period := forecasttest.DataSet(t, name)
		s := forecast.Plain(values, period)
		for kind, multiplicative := range map[string]bool{"add": false, "mul": true} {
			ref := func(what string) forecasttest.Reference {
				return forecasttest.Ref(t, "hw_"+name+"_"+kind+"_"+what)
			}
			fit := mustFit(t, smooth.HoltWinters{Multiplicative: multiplicative, Alpha: smooth.Fixed(.3), Beta: smooth.Fixed(.05), Gamma: smooth.Fixed(.2)}, s)
			ref("sse").Equal(t, fit.SSE())
			st := fit.State()
			ref("state").Equal(t, append([]float64{st.Level, st.Trend}, st.Season...)...)
			ref("forecast").Equal(t, fit.Forecast(s.Lag()).Means()...)

			// With no error in sight the start is the state.
			still := smooth.HoltWinters{Multiplicative: multiplicative, Alpha: smooth.Fixed(0), Beta: smooth.Fixed(0), Gamma: smooth.Fixed(0)}
			st = mustFit(t, still, s).State()
			m := s.Lag()
			st.Level -= float64(s.Len()-m) * st.Trend
			from := (m - (s.Len()-m)%m) % m
			ref("start").Equal(t, append([]float64{st.Level, st.Trend}, append(slices.Clone(st.Season[from:]), st.Season[:from]...)...)...)

			least := ref("free_sse")
			if have, want := mustFit(t, smooth.HoltWinters{Multiplicative: multiplicative}, s).SSE(), least.Values(t)[0]; !(have <= want+least.Tolerance) {
				t.Errorf("%s: want at most %v, have %v", least.ID, want, have)
			} else {
				t.Logf("%s %s: least sum %.9g, R's %.9g, ratio %.9f", name, kind, have, want, have/want)
			}
			free := mustFit(t, smooth.HoltWinters{Multiplicative: multiplicative, FreeStart: true}, s)
			if fixed := mustFit(t, smooth.HoltWinters{Multiplicative: multiplicative}, s); free.SSE() > fixed.SSE()*(1+1e-9) {
				t.Errorf("%s %s: a free start has %v, R's rule %v", name, kind, free.SSE(), fixed.SSE())
			}
		}
	}
}

// R 4.2.2: half widths of predict(HoltWinters(AirPassengers, alpha=.3,
// beta=.05, gamma=.2), prediction.interval=TRUE) over the first one.
func TestAdditiveSpreadAgainstR(t *testing.T) {
	values, period := forecasttest.DataSet(t, "AirPassengers")
	fit := mustFit(t, smooth.HoltWinters{Alpha: smooth.Fixed(.3), Beta: smooth.Fixed(.05), Gamma: smooth.Fixed(.2)}, forecast.Plain(values, period))
	f := fit.Forecast(30)
	half := func(step int) float64 { d := f.Dists[step-1]; return d.Quantile(.975) - d.Mean() }
	for step, want := range map[int]float64{2: 1.04843931631735, 12: 1.64251331805864, 13: 1.75563378869285, 24: 2.58474370102724, 25: 2.70571617136757, 30: 3.13181656550954} {
		if have := half(step) / half(1); math.Abs(have-want) > 1e-9 {
			t.Errorf("step %d: want %v, have %v", step, want, have)
		}
	}
	if have, want := half(1)/1.959963984540054, math.Sqrt(fit.SSE()/132); math.Abs(have-want) > 1e-9*want {
		t.Errorf("want a standard deviation of %v, have %v", want, have)
	}
}

// R 4.2.2: HoltWinters(Nile, beta=FALSE, gamma=FALSE) and
// HoltWinters(AirPassengers, gamma=FALSE), the latter also at .4 and .1.
func TestSimpleAndDoubleAgainstR(t *testing.T) {
	nile, _ := forecasttest.DataSet(t, "Nile")
	fit := mustFit(t, smooth.Simple{}, forecast.Plain(nile, 1))
	if math.Abs(fit.Parameters()["alpha"]-.246557877458459) > 1e-4 || fit.SSE() > 2038871.83288585*(1+1e-9) {
		t.Errorf("Nile: want alpha .24656 with 2038871.8, have %v", fit.Parameters())
	}
	air, _ := forecasttest.DataSet(t, "AirPassengers")
	s := forecast.Plain(air, 1)
	fit = mustFit(t, smooth.Double{Alpha: smooth.Fixed(.4), Beta: smooth.Fixed(.1)}, s)
	for _, c := range []struct{ have, want float64 }{{fit.SSE(), 314260.075661992}, {fit.State().Level, 457.573113050689}, {fit.State().Trend, -1.30610656263951}} {
		if math.Abs(c.have-c.want) > 1e-9*math.Abs(c.want) {
			t.Errorf("want %v, have %v", c.want, c.have)
		}
	}
	if fit = mustFit(t, smooth.Double{}, s); fit.SSE() > 163634.065810648*(1+1e-9) {
		t.Errorf("want at most 163634.07, have %v", fit.SSE())
	}
	if free := mustFit(t, smooth.Simple{FreeStart: true}, forecast.Plain(nile, 1)); free.SSE() >= 2038871.8+100*100 || free.Parameters()["level"] == nile[0] {
		t.Errorf("want a start of its own, have %v", free.Parameters())
	}
}

func TestContract(t *testing.T) {
	linear := forecasttest.Traits{ScaleFree: true, ShiftFree: true}
	values, period := forecasttest.DataSet(t, "USAccDeaths")
	monthly := forecast.Plain(values, period)
	gap := forecast.Plain(slices.Clone(values), period)
	for _, i := range []int{0, 20, 40, 41, 70} {
		gap.Values[i] = math.NaN()
	}
	weekly := forecasttest.Weekly(312, 60, .4, 3)
	for _, c := range []struct {
		m      forecast.Model
		traits forecasttest.Traits
	}{
		{smooth.Simple{}, linear},
		{smooth.Simple{FreeStart: true}, linear},
		{smooth.Double{}, linear},
		{smooth.Double{FreeStart: true}, linear},
		{smooth.HoltWinters{}, linear},
		{smooth.HoltWinters{FreeStart: true}, linear},
		{smooth.HoltWinters{Multiplicative: true}, forecasttest.Traits{ScaleFree: true}},
		{smooth.HoltWinters{Multiplicative: true, FreeStart: true}, forecasttest.Traits{ScaleFree: true}},
	} {
		t.Run(forecasttest.Name(c.m), func(t *testing.T) {
			forecasttest.Contract(t, c.m, monthly, c.traits)
			forecasttest.Contract(t, c.m, gap, c.traits)
			forecasttest.Contract(t, c.m, weekly, c.traits)
		})
	}
}

// A step that wasn't observed teaches nothing and costs nothing.
func TestGapsMoveAlongTheTrend(t *testing.T) {
	start := smooth.State{Level: 10, Trend: 1}
	m := smooth.Double{Alpha: smooth.Fixed(.5), Beta: smooth.Fixed(.5), Start: &start}
	nan := math.NaN()
	fit := mustFit(t, m, forecast.Plain([]float64{11, nan, nan, 14, nan}, 1))
	if fit.SSE() != 0 {
		t.Errorf("want no error on a line, have %v", fit.SSE())
	}
	if d := fit.Forecast(1).Dists[0]; d != forecast.Point(16) {
		t.Errorf("want 16, have %v", d)
	}
}

func TestRefuses(t *testing.T) {
	var short *forecast.TooShort
	if _, err := (smooth.HoltWinters{}).Fit(forecasttest.Weekly(61, 20, .3, 1)); !errors.As(err, &short) || short.Need != 104 || short.Have != 61 {
		t.Errorf("61 weeks: have %v", err)
	}
	if _, err := (smooth.Double{}).Fit(forecast.Plain([]float64{1, 2}, 1)); !errors.As(err, &short) {
		t.Errorf("two values: have %v", err)
	}
	// A value is missing, and so are the steps that weren't observed after it.
	if _, err := (smooth.Simple{}).Fit(forecast.Plain([]float64{1, math.NaN(), math.NaN()}, 1)); !errors.As(err, &short) || short.Need != 2 || short.Have != 1 {
		t.Errorf("one value and two gaps: have %v", err)
	}
	v := []float64{1, 2, 1, 2, 1, 2}
	for want, c := range map[string]struct {
		m forecast.Model
		s forecast.Series
	}{
		"values above 0, have 0 at step 3": {smooth.HoltWinters{Multiplicative: true}, forecast.Plain([]float64{1, 2, 0, 1, 2, 3}, 2)},
		"a season of 2 steps or more":      {smooth.HoltWinters{}, forecast.Plain(v, 1)},
		"with 2 figures":                   {smooth.HoltWinters{Start: &smooth.State{}}, forecast.Plain(v, 2)},
		"a start above 0":                  {smooth.HoltWinters{Multiplicative: true, Start: &smooth.State{Level: 1, Season: []float64{0, 1}}}, forecast.Plain(v, 2)},
		"a finite start":                   {smooth.Simple{Start: &smooth.State{Level: math.NaN()}}, forecast.Plain(v, 1)},
		"falls to zero":                    {smooth.HoltWinters{Multiplicative: true, Alpha: smooth.Fixed(0), Beta: smooth.Fixed(0), Start: &smooth.State{Level: 3, Trend: -1, Season: []float64{1, 1}}}, forecast.Plain(v, 2)},
	} {
		if _, err := c.m.Fit(c.s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, have %v", want, err)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("a constant above 1 must panic")
		}
	}()
	smooth.Fixed(1.1)
}

func TestNames(t *testing.T) {
	for want, m := range map[string]forecast.Model{
		"holt-winters-additive":                 smooth.HoltWinters{},
		"holt-winters-multiplicative":           smooth.HoltWinters{Multiplicative: true},
		"holt-winters-additive gamma=0":         smooth.HoltWinters{Gamma: smooth.Fixed(0)},
		"double-smoothing alpha=0.5 start=free": smooth.Double{Alpha: smooth.Fixed(.5), FreeStart: true},
	} {
		if m.String() != want {
			t.Errorf("want %q, have %q", want, m)
		}
	}
}

// One step ahead a multiplicative path spreads as the ratios of values to what
// was expected, widened for the three constants estimated from 20 of them.
func TestMultiplicativeSpreadAllowsForEstimates(t *testing.T) {
	values, _ := forecasttest.DataSet(t, "AirPassengers")
	s := forecast.Plain(values[:24], 4)
	fit := mustFit(t, smooth.HoltWinters{Multiplicative: true}, s)
	squares := 0.0
	for i, f := range fit.Fitted()[4:] {
		d := math.Log(s.Values[4+i] / f)
		squares += d * d
	}
	want := math.Sqrt(squares / 17)
	var logs []float64
	for _, v := range fit.Simulate(1, 40000, rand.New(rand.NewPCG(1, 2))).Values {
		logs = append(logs, math.Log(v))
	}
	if have := stat.StdDev(logs, nil); math.Abs(have/want-1) > .02 {
		t.Errorf("want %v, have %v", want, have)
	}
}

// Errors that are only the rounding of the arithmetic make no range.
func TestRoundingIsNoError(t *testing.T) {
	v := make([]float64, 60)
	for i := range v {
		v[i] = .7 * (1 + .1*float64(i%3))
	}
	for _, m := range []forecast.Model{smooth.HoltWinters{}, smooth.HoltWinters{Multiplicative: true}} {
		for j, d := range mustFit(t, m, forecast.Plain(v, 3)).Forecast(6).Dists {
			if _, ok := d.(forecast.Point); !ok || math.Abs(d.Mean()-v[j%3]) > 1e-12 {
				t.Errorf("%s step %d: want just %v, have %v", m, j+1, v[j%3], d)
			}
		}
	}
}

// A backlog that falls week by week can't fall below none.
func TestMultiplicativePathsStayAboveZero(t *testing.T) {
	v := make([]float64, 40)
	for i := range v {
		v[i] = (100 - 2.4*float64(i)) * (1 + .2*float64(i%2))
	}
	fit := mustFit(t, smooth.HoltWinters{Multiplicative: true}, forecast.Plain(v, 2))
	for i, y := range fit.Simulate(60, 200, rand.New(rand.NewPCG(1, 2))).Values {
		if !(y > 0) || y > 1e9 {
			t.Fatalf("value %d is %v", i, y)
		}
	}
}

func BenchmarkFit(b *testing.B) {
	s := forecasttest.Weekly(260, 60, .4, 1)
	for _, m := range []forecast.Model{smooth.Simple{}, smooth.Double{}, smooth.HoltWinters{}, smooth.HoltWinters{Multiplicative: true}} {
		b.Run(m.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				mustFit(b, m, s)
			}
		})
	}
}

func BenchmarkForecast(b *testing.B) {
	s := forecasttest.Weekly(260, 60, .4, 1)
	for _, m := range []forecast.Model{smooth.HoltWinters{}, smooth.HoltWinters{Multiplicative: true}} {
		fit := mustFit(b, m, s)
		b.Run(m.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				fit.Forecast(13)
			}
		})
	}
}
