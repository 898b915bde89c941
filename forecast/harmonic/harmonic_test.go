package harmonic

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
	"freshet/forecast/calendar"
	"freshet/forecast/forecasttest"
)

func TestContract(t *testing.T) {
	easter := calendar.Around("Easter", calendar.Yearly(calendar.Easter))
	for _, m := range []Model{
		{},
		{Log: true},
		{Harmonics: 2, Autoregression: 1, Trend: Linear},
		{Harmonics: None, Autoregression: None, Trend: Flat},
		{Regressors: easter, Autoregression: 3},
	} {
		t.Run(m.String(), func(t *testing.T) {
			forecasttest.Contract(t, m, forecasttest.Weekly(220, 40, .4, 3), forecasttest.Traits{ScaleFree: true, ShiftFree: !m.Log})
		})
	}
}

// passengers gives AirPassengers on steps whose phase is t/12 for t = 1, 2, …,
// as the references have it: steps of two days in a season of 24, from day 1.
func passengers(t testing.TB) forecast.Series {
	values, period := forecasttest.DataSet(t, "AirPassengers")
	return forecast.Series{Start: 1, Step: 2, Period: period, Values: values}
}

func TestLeastSquares(t *testing.T) {
	for _, k := range []int{1, 2, 5} {
		m := Model{Harmonics: k, Trend: Linear, Log: true, Autoregression: None}
		f, err := m.Fit(passengers(t))
		if err != nil {
			t.Fatal(err)
		}
		p := f.(forecast.Describer).Parameters()
		coef := []float64{p["level"], p["slope"]}
		for i := range k {
			coef = append(coef, p[fmt.Sprintf("sin%d", i+1)], p[fmt.Sprintf("cos%d", i+1)])
		}
		forecasttest.Ref(t, fmt.Sprintf("harmonic_AirPassengers_K%d", k)).Equal(t, coef...)
		forecasttest.Ref(t, fmt.Sprintf("harmonic_AirPassengers_K%d_aicc", k)).Equal(t, f.(forecast.Likelihood).AICc())
	}
	// Of the three, the references' AICc chooses five; the sixth pair can't be
	// seen in monthly values.
	f, err := Model{Trend: Linear, Log: true, Autoregression: None}.Fit(passengers(t))
	if err != nil {
		t.Fatal(err)
	}
	if k := f.(forecast.Describer).Parameters()["harmonics"]; k != 5 {
		t.Errorf("want 5 harmonics, have %v", k)
	}
}

// TestMaximumLikelihood compares with R 4.2.2, stats::arima(y, order =
// c(p, 0, 0), xreg = X, include.mean = FALSE, method = "ML", optim.control =
// list(reltol = 1e-15)), y the logarithms of AirPassengers without months 20
// to 27, 50, 143 and 144, X the columns 1, t, sin and cos of 2πkt/12 for k = 1
// and 2. The log-likelihood is R's without its constants, n/2·(1 + ln 2π).
func TestMaximumLikelihood(t *testing.T) {
	s := passengers(t)
	for _, i := range []int{20, 21, 22, 23, 24, 25, 26, 27, 50, 143, 144} {
		s.Values[i-1] = math.NaN()
	}
	for _, c := range []struct {
		phi, coef        []float64
		variance, logLik float64 // RSS/n
	}{
		{[]float64{0.490280349581903}, []float64{4.81363762222587, 0.0100802294478243, -0.0523834674071043, -0.138372327454751, 0.0771552115816562, -0.0217794032707689},
			0.00331457790926123, 379.294126281695},
		{[]float64{0.405281723372422, 0.180321231973293}, []float64{4.81274406338507, 0.0100824931728561, -0.0515651387049723, -0.138845251258149, 0.0775683717355371, -0.0218705088172289},
			0.00320583941073384, 381.458983137571},
		{[]float64{0.32957065609942, 0.00711293908555838, 0.412527773847809}, []float64{4.81102514261052, 0.0100697224849072, -0.0521684481327943, -0.139871463771018, 0.0763750172168597, -0.0202022960095043},
			0.00267500207080052, 392.955706784506},
	} {
		order := len(c.phi)
		f, err := Model{Harmonics: 2, Trend: Linear, Log: true, Autoregression: order}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		p := f.(forecast.Describer).Parameters()
		check := func(name string, have, want, tol float64) {
			if !(math.Abs(have-want) <= tol) {
				t.Errorf("order %d, %s: want %v ± %v, have %v", order, name, want, tol, have)
			}
		}
		for k, v := range c.phi {
			check(fmt.Sprintf("ar%d", k+1), p[fmt.Sprintf("ar%d", k+1)], v, 1e-3)
		}
		for j, name := range []string{"level", "slope", "sin1", "cos1", "sin2", "cos2"} {
			check(name, p[name], c.coef[j], 1e-4)
		}
		check("variance", p["sigma"]*p["sigma"]*(133-6)/133, c.variance, 1e-6)
		check("log-likelihood", f.(forecast.Likelihood).LogLik(), c.logLik, 1e-4)
	}
}

// TestKriging compares the forecast with one by dense matrices: the mean and
// variance of universal kriging (generalised least squares with the errors'
// whole covariance; Cressie 1993, section 3.4, from memory), which shares
// nothing with the filter. The autoregression's covariance is the sum of
// products of its moving average's weights.
func TestKriging(t *testing.T) {
	s := forecasttest.Weekly(130, 40, .4, 8)
	for i := range s.Values {
		if i%7 == 3 || i > 40 && i < 55 || i > 126 {
			s.Values[i] = math.NaN()
		}
	}
	for order := range maxOrder + 1 {
		m := Model{Harmonics: 2, Trend: Linear, Autoregression: order}
		if order == 0 {
			m.Autoregression = None
		}
		g, err := m.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		f := g.(*fit)
		const h, weights = 12, 3000
		psi := make([]float64, weights)
		psi[0] = 1
		for i := 1; i < weights; i++ {
			for k := range min(i, order) {
				psi[i] += f.filter.phi[k] * psi[i-1-k]
			}
		}
		gamma := func(lag int) (sum float64) {
			for i := lag; i < weights; i++ {
				sum += psi[i] * psi[i-lag]
			}
			return sum
		}
		auto := make([]float64, s.Len()+h)
		for lag := range auto {
			auto[lag] = gamma(lag)
		}
		var at []int
		for i, v := range s.Values {
			if !math.IsNaN(v) {
				at = append(at, i)
			}
		}
		n, q := len(at), 6
		x, y, v := mat.NewDense(n, q, nil), mat.NewVecDense(n, nil), mat.NewDense(n, n, nil)
		for a, i := range at {
			f.design.row(i, x.RawRowView(a))
			y.SetVec(a, s.Values[i])
			for b, j := range at {
				v.Set(a, b, auto[max(i-j, j-i)])
			}
		}
		var vi, xvx, c mat.Dense
		var xvy, beta, resid, back mat.VecDense
		if err := vi.Inverse(v); err != nil {
			t.Fatal(err)
		}
		xvx.Product(x.T(), &vi, x)
		if err := c.Inverse(&xvx); err != nil {
			t.Fatal(err)
		}
		back.MulVec(&vi, y)
		xvy.MulVec(x.T(), &back)
		beta.MulVec(&c, &xvy)
		resid.MulVec(x, &beta)
		resid.SubVec(y, &resid)
		sigma := math.Sqrt(mat.Inner(&resid, &vi, &resid) / float64(n-q))
		total, totalNear, own := mat.NewVecDense(q, nil), mat.NewVecDense(n, nil), 0.0
		for i, d := range g.Forecast(h).Dists {
			step := s.Len() + i
			row, near := mat.NewVecDense(q, nil), mat.NewVecDense(n, nil)
			f.design.row(step, row.RawVector().Data)
			for a, j := range at {
				near.SetVec(a, auto[step-j])
			}
			total.AddVec(total, row)
			totalNear.AddVec(totalNear, near)
			for j := range h {
				own += auto[max(i-j, j-i)]
			}
			var pull, gradient mat.VecDense
			pull.MulVec(&vi, near)
			gradient.MulVec(x.T(), &pull)
			gradient.SubVec(row, &gradient)
			mean := mat.Dot(row, &beta) + mat.Dot(&pull, &resid)
			scale := sigma * math.Sqrt(auto[0]-mat.Dot(near, &pull)+mat.Inner(&gradient, &c, &gradient))
			want := distuv.StudentsT{Mu: mean, Sigma: scale, Nu: float64(n - q)}
			if have := d.(distuv.StudentsT); math.Abs(have.Mu-want.Mu) > 1e-7 || math.Abs(have.Sigma-want.Sigma) > 1e-7 || have.Nu != want.Nu {
				t.Errorf("order %d, %d steps ahead: want %v, have %v", order, i+1, want, have)
			}
		}
		// The sum of all steps, which only joint paths get right.
		var pull, gradient mat.VecDense
		pull.MulVec(&vi, totalNear)
		gradient.MulVec(x.T(), &pull)
		gradient.SubVec(total, &gradient)
		df := float64(n - q)
		want := sigma * math.Sqrt((own-mat.Dot(totalNear, &pull)+mat.Inner(&gradient, &c, &gradient))*df/(df-2))
		const paths = 20000
		p := g.Simulate(h, paths, rand.New(rand.NewPCG(4, 4)))
		sums := make([]float64, paths)
		for i := range sums {
			sums[i] = floats.Sum(p.Path(i))
		}
		if have := stat.StdDev(sums, nil); math.Abs(have/want-1) > .03 {
			t.Errorf("order %d: want a standard deviation of the sum of %v, have %v", order, want, have)
		}
	}
}

// Fitted values use what was seen before each step.
func TestFitted(t *testing.T) {
	s := passengers(t)
	g, err := Model{Harmonics: 3, Log: true, Autoregression: 1}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	f := g.(*fit)
	row := make([]float64, len(f.coef))
	before := 0.0
	for i, v := range g.Fitted() {
		f.design.row(i, row)
		line := floats.Dot(row, f.coef)
		if want := math.Exp(line + f.filter.phi[0]*before + f.sigma*f.sigma/2); math.Abs(v-want) > 1e-9*want {
			t.Fatalf("step %d: want %v, have %v", i+1, want, v)
		}
		before = math.Log(s.Values[i]) - line
	}
}

// Paths and forecast agree in the tails of few values, where a normal
// distribution would be too narrow, and in the mean of logarithms, which lies
// far above the median.
func TestMarginals(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	for _, c := range []struct {
		n   int
		log bool
	}{{6, false}, {60, true}} {
		s := forecast.Plain(make([]float64, c.n), 1)
		for i := range s.Values {
			if s.Values[i] = 5 + rng.NormFloat64(); c.log {
				s.Values[i] = math.Exp(1.2 * rng.NormFloat64())
			}
		}
		f, err := Model{Trend: Flat, Autoregression: None, Log: c.log}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		d, p := f.Forecast(1).Dists[0], f.Simulate(1, 200000, rng).Dist(0)
		for name, v := range map[string][2]float64{
			"mean":   {d.Mean(), p.Mean()},
			"median": {d.Quantile(.5), p.Quantile(.5)},
			"95 %":   {d.Quantile(.95), p.Quantile(.95)},
			"99 %":   {d.Quantile(.99), p.Quantile(.99)},
		} {
			if math.Abs(v[0]/v[1]-1) > .03 {
				t.Errorf("%d values, %s: forecast %v, paths %v", c.n, name, v[0], v[1])
			}
		}
	}
}

// A season that follows the date goes on following it through years of 53
// weeks, and exact data give an exact forecast.
func TestDateTrue(t *testing.T) {
	s := forecasttest.Weekly(200, 1, 0, 1)
	curve := func(i int) float64 { return 20 + 9*math.Sin(2*math.Pi*(s.Phase(i)-.2)) }
	for i := range s.Values {
		s.Values[i] = curve(i)
	}
	f, err := Model{}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range f.Forecast(1000).Means() {
		if want := curve(200 + i); math.Abs(v-want) > 1e-7 {
			t.Fatalf("%v: want %v, have %v", s.At(200+i), want, v)
		}
	}
}

func TestShortHistory(t *testing.T) {
	for _, c := range []struct {
		weeks     int
		harmonics float64
		slope     bool
		warning   string
	}{
		{40, 0, false, "level alone"},
		{52, 0, false, "level alone"},
		{70, 1, false, "shrunk"},
		{104, 1, false, "shrunk"},
		{105, 1, true, ""},
	} {
		s := forecasttest.Weekly(c.weeks, 400, .5, 3)
		f, err := Model{Harmonics: 1, Autoregression: None}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		p := f.(forecast.Describer).Parameters()
		_, slope := p["slope"]
		w := fmt.Sprint(f.Forecast(1).Warnings)
		if p["harmonics"] != c.harmonics || slope != c.slope || !strings.Contains(w, c.warning) || (w == "[]") != (c.warning == "") {
			t.Errorf("%d weeks: want %v harmonics and slope %v, have %v and warnings %s", c.weeks, c.harmonics, c.slope, p, w)
		}
	}
	// The season of whole years is shrunk by the share of the ridge: 26 steps
	// of a flat season against those seen.
	s := forecasttest.Weekly(52, 1, 0, 1)
	s.Period = 26.5
	for i := range s.Values {
		s.Values[i] = 10 + 4*math.Sin(2*math.Pi*s.Phase(i))
	}
	f, err := Model{Harmonics: 1, Autoregression: None}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	if have, want := f.(forecast.Describer).Parameters()["sin1"], 4*52/(52+26.5/2); math.Abs(have-want) > .02 {
		t.Errorf("want an amplitude of %v, have %v", want, have)
	}
	var short *forecast.TooShort
	if _, err := (Model{}).Fit(s.Slice(0, 3)); !errors.As(err, &short) || short.Need != 4 || short.Have != 3 {
		t.Errorf("want an error that needs 4 and has 3, have %v", err)
	}
}

func TestRegressors(t *testing.T) {
	s := forecasttest.Weekly(260, 1, 0, 1)
	easter := calendar.Around("Easter", calendar.Yearly(calendar.Easter))
	rng := rand.New(rand.NewPCG(1, 1))
	effect := []float64{-5, 12, 3}
	expected := func(i int) float64 {
		v := 50 + 8*math.Cos(2*math.Pi*s.Phase(i))
		for j, r := range easter {
			v += effect[j] * r.At(s.At(i), s.Step)
		}
		return v
	}
	for i := range s.Values {
		s.Values[i] = expected(i) + .1*rng.NormFloat64()
	}
	never := calendar.Regressor{Name: "moon landing", At: func(forecast.Date, int) float64 { return 0 }}
	f, err := Model{Regressors: append(easter, never)}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	p := f.(forecast.Describer).Parameters()
	for j, r := range easter {
		if math.Abs(p[r.Name]-effect[j]) > .2 {
			t.Errorf("%s: want %v, have %v", r.Name, effect[j], p[r.Name])
		}
	}
	next := f.Forecast(52)
	for i, v := range next.Means() {
		if want := expected(260 + i); math.Abs(v-want) > .3 {
			t.Errorf("%v: want %v, have %v", s.At(260+i), want, v)
		}
	}
	if w := fmt.Sprint(next.Warnings); !strings.Contains(w, "moon landing") {
		t.Errorf("want a warning of the regressor left out, have %s", w)
	}
	if _, err := (Model{Regressors: append(easter, easter[1])}).Fit(s); err == nil {
		t.Error("a regressor given twice: want an error")
	}
	never.At = func(d forecast.Date, _ int) float64 { return math.Log(float64(s.End() - d)) }
	if f, err = (Model{Regressors: []calendar.Regressor{never}}).Fit(s); err != nil {
		t.Fatal(err)
	}
	panics(t, "a regressor without a future", func() { f.Forecast(1) })
	never.At = func(forecast.Date, int) float64 { return math.NaN() }
	if _, err = (Model{Regressors: []calendar.Regressor{never}}).Fit(s); err == nil {
		t.Error("a regressor without a past: want an error")
	}
}

func TestTrends(t *testing.T) {
	s := forecast.Plain(make([]float64, 48), 12)
	for i := range s.Values {
		s.Values[i] = float64(i + 1)
	}
	// Steps 49, 50 and 400: straight on, or a twelfth root of 1/e less each time.
	r := math.Exp(-1. / 12)
	for _, c := range []struct {
		trend Trend
		want  [3]float64
	}{
		{Linear, [3]float64{49, 50, 400}},
		{Damped, [3]float64{48 + r, 48 + r + r*r, 48 + r/(1-r)}},
		{Flat, [3]float64{24.5, 24.5, 24.5}},
	} {
		f, err := Model{Harmonics: None, Autoregression: None, Trend: c.trend}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		m := f.Forecast(352).Means()
		for i, j := range []int{0, 1, 351} {
			if math.Abs(m[j]-c.want[i]) > 1e-9 {
				t.Errorf("%v: want %v at step %d, have %v", c.trend, c.want[i], 49+j, m[j])
			}
		}
	}
}

// Over many invented histories the ranges hold as often as they say, at all
// steps together: without the coefficients' uncertainty these would hold far
// less often, on 40 values and 6 coefficients.
func TestCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	const n, h, phi = 40, 10, .4
	for _, m := range []Model{{Harmonics: 2, Autoregression: 1, Trend: Linear}, {Harmonics: 2, Autoregression: 1, Trend: Linear, Log: true}} {
		inside, all := 0, 0
		for range 400 {
			s := forecast.Plain(make([]float64, n+h), 12)
			e := rng.NormFloat64() / math.Sqrt(1-phi*phi)
			for i := range s.Values {
				s.Values[i] = 3 + .01*float64(i) + math.Sin(2*math.Pi*s.Phase(i)) + .2*e
				if e = phi*e + rng.NormFloat64(); m.Log {
					s.Values[i] = math.Exp(s.Values[i])
				}
			}
			f, err := m.Fit(s.Slice(0, n))
			if err != nil {
				t.Fatal(err)
			}
			for i, d := range f.Forecast(h).Dists {
				all++
				if y := s.Values[n+i]; d.Quantile(.1) <= y && y <= d.Quantile(.9) {
					inside++
				}
			}
		}
		// The autoregression's constant, taken as known, costs a few points.
		if c := float64(inside) / float64(all); c < .74 || c > .83 {
			t.Errorf("%v: an 80 %% range holds %.3f of the time", m, c)
		}
	}
}

func TestMisuse(t *testing.T) {
	s := forecast.Plain([]float64{1, 3, 2, 4, 3, 5, 4, 6, 5, 7, 6, 8}, 4)
	for name, m := range map[string]Model{
		"order":     {Autoregression: 4},
		"trend":     {Trend: 7},
		"harmonics": {Harmonics: 2},
	} {
		panics(t, name, func() { m.Fit(s) })
	}
	f, err := Model{}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	panics(t, "no steps", func() { f.Forecast(0) })
	s.Values[3] = 0
	if _, err := (Model{Log: true}).Fit(s); err == nil {
		t.Error("the logarithm of 0: want an error")
	}
}

func panics(t *testing.T, name string, f func()) {
	t.Helper()
	defer func() {
		if recover() == nil {
			t.Errorf("%s: want a panic", name)
		}
	}()
	f()
}

// The search allocates nothing a step: a fit with three orders to try, some
// dozen rounds and hundreds of likelihoods costs what one without costs.
func TestAllocations(t *testing.T) {
	s := forecasttest.Weekly(260, 40, .4, 3)
	count := func(m Model) float64 {
		return testing.AllocsPerRun(3, func() {
			if _, err := m.Fit(s); err != nil {
				t.Fatal(err)
			}
		})
	}
	if none, all := count(Model{Autoregression: None}), count(Model{}); all > none+2 {
		t.Errorf("want %v allocations and no more, have %v", none, all)
	}
}

func BenchmarkFit(b *testing.B) {
	s := forecasttest.Weekly(260, 40, .4, 3)
	for name, m := range map[string]Model{"chosen": {}, "K4AR1": {Harmonics: 4, Autoregression: 1}, "K4": {Harmonics: 4, Autoregression: None}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := m.Fit(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkSimulate(b *testing.B) {
	f, err := Model{}.Fit(forecasttest.Weekly(260, 40, .4, 3))
	if err != nil {
		b.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	b.ReportAllocs()
	for b.Loop() {
		f.Simulate(26, 1000, rng)
	}
}
