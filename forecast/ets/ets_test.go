package ets

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

// byName finds the member that a reference names, such as MAdM.
func byName(t testing.TB, name string) Model {
	for _, m := range family {
		if strings.NewReplacer("ETS(", "", ",", "", ")", "").Replace(m.String()) == name {
			return m
		}
	}
	t.Fatalf("no member %q", name)
	return Model{}
}

// reference is the data of a row of check_values.csv made by R's forecast
// package 8.20 (or, for variances with A,N,A, by the formula of HKOS).
type reference struct {
	Series, Model           string
	Alpha, Beta, Gamma, Phi float64
	L0, B0                  float64
	S0                      []float64 `json:"s0_time_order"`
}

func TestFixedEqualsR(t *testing.T) {
	rows := forecasttest.Refs(t, func(r forecasttest.Reference) bool {
		return r.Area == "ets" && strings.Contains(r.ID, "_fixed_")
	})
	if len(rows) < 100 {
		t.Fatalf("want over 100 reference rows, have %d", len(rows))
	}
	for _, row := range rows {
		var d reference
		row.Into(t, &d)
		y, period := forecasttest.DataSet(t, d.Series)
		fit, err := Fixed{byName(t, d.Model), d.Alpha, d.Beta, d.Gamma, d.Phi, d.L0, d.B0, d.S0}.Fit(forecast.Plain(y, period))
		if err != nil {
			t.Fatal(row.ID, err)
		}
		f := fit.(*Fit)
		h := len(row.Values(t))
		switch row.ID[strings.LastIndexByte(row.ID, '_'):] {
		case "_loglik":
			row.Equal(t, f.LogLik())
		case "_aicc":
			row.Equal(t, f.AICc())
		case "_forecast":
			row.Equal(t, f.Forecast(h).Means()...)
		case "_variance":
			row.Equal(t, f.variances(h)...)
		default:
			t.Errorf("unknown kind of reference %s", row.ID)
		}
	}
}

func TestFreeReachesR(t *testing.T) {
	for _, name := range []string{"AirPassengers", "UKgas", "nottem", "USAccDeaths", "co2"} {
		y, period := forecasttest.DataSet(t, name)
		fit, err := Model{}.Fit(forecast.Plain(y, period))
		if err != nil {
			t.Fatal(err)
		}
		// R's own AICc without the row's tolerance of 2, and its forecasts.
		row := forecasttest.Ref(t, "ets_"+name+"_free_aicc")
		if have, want := fit.(*Fit).AICc(), row.Values(t)[0]; have > want {
			t.Errorf("%s: AICc %.3f of %v is worse than R's %.3f (%s)", name, have, fit.(*Fit).Model(), want, row.Data)
		}
		row = forecasttest.Ref(t, "ets_"+name+"_free_forecast")
		row.Equal(t, fit.Forecast(int(period)).Means()...)
	}
	for _, model := range []string{"ANN", "AAN"} {
		row := forecasttest.Ref(t, "ets_Nile_"+model+"_free_loglik")
		y, period := forecasttest.DataSet(t, "Nile")
		fit, err := byName(t, model).Fit(forecast.Plain(y, period))
		if err != nil {
			t.Fatal(err)
		}
		if have, want := fit.(*Fit).LogLik(), row.Values(t)[0]; have < want {
			t.Errorf("%s: log-likelihood %.4f below R's %.4f", model, have, want)
		}
	}
}

// monthly is an invented series of 120 months with trend and season.
func monthly() forecast.Series {
	rng := rand.New(rand.NewPCG(7, 8))
	s := forecast.Plain(make([]float64, 120), 12)
	level := 100.
	for t := range s.Values {
		level += .4 + rng.NormFloat64()
		s.Values[t] = level * (1 + .3*math.Sin(2*math.Pi*float64(t)/12)) * (1 + .04*rng.NormFloat64())
	}
	return s
}

// yearly is an invented series of 60 years without a season.
func yearly() forecast.Series {
	s := monthly()
	return forecast.Plain(slices.Clone(s.Values[:60]), 1)
}

func TestContract(t *testing.T) {
	for i, m := range append([]Model{{}, {Error: Additive}, {Trend: Damped}}, family...) {
		if testing.Short() && i > 2 {
			break // they differ in numbers alone, which the race detector makes slow
		}
		t.Run(m.String()+"/monthly", func(t *testing.T) {
			forecasttest.Contract(t, m, monthly(), forecasttest.Traits{ScaleFree: true})
		})
		if !m.seasonal() {
			t.Run(m.String()+"/yearly", func(t *testing.T) {
				forecasttest.Contract(t, m, yearly(), forecasttest.Traits{ScaleFree: true})
			})
		}
	}
	fixed := Fixed{Model: Model{Additive, Damped, None}, Alpha: .3, Beta: .1, Phi: .9, Level: 100}
	forecasttest.Contract(t, fixed, yearly(), forecasttest.Traits{})
}

// thinned is monthly with every value missing whose step satisfies gone.
func thinned(gone func(t int) bool) forecast.Series {
	s := monthly()
	for t := range s.Values {
		if gone(t) {
			s.Values[t] = math.NaN()
		}
	}
	return s
}

// The Jacobian must equal central differences of the residuals' criterion,
// for every member, with missing values among them.
func TestGradient(t *testing.T) {
	s := thinned(func(t int) bool { return t%11 == 5 })
	scale := meanSize(s.Values)
	for i := range s.Values {
		s.Values[i] /= scale
	}
	for _, m := range family {
		w := newSearch(s.Values, 12)
		w.use(m, constants{.2, .01, .1, .9}, roughStart(s.Fill(), 12, m.Season))
		w.normal()
		for i := range w.x {
			// d deviance = 2n J'r / sum of squares
			have := 2 * float64(w.fall.n) * w.grad[i] / w.fall.squares
			const step = 1e-6
			x := slices.Clone(w.x)
			x[i] += step
			_, up := w.at(x)
			x[i] -= 2 * step
			_, down := w.at(x)
			if want := (up - down) / (2 * step); !(math.Abs(have-want) < 1e-4*(1+math.Abs(want))) {
				t.Errorf("%v: derivative %d is %.8g, by differences %.8g", m, i, have, want)
			}
		}
	}
}

// After the search no neighbour inside the region is more likely.
func TestStationary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	s := monthly()
	scale := meanSize(s.Values)
	for i := range s.Values {
		s.Values[i] /= scale
	}
	for _, m := range family {
		best := choose([]Model{m}, s)
		w := newSearch(s.Values, 12)
		w.use(m, best.constants, best.first)
		value := w.value
		x := make([]float64, len(w.x))
		for range 200 {
			for i, v := range w.x {
				x[i] = v * (1 + 1e-3*rng.NormFloat64())
				if k := i - w.states; k >= 0 {
					x[i] = min(w.hi[k], max(w.lo[k], x[i]))
				}
			}
			w.retreat(x)
			if _, v := w.at(x); v < value-1e-6 {
				t.Fatalf("%v: deviance %.9f beside the optimum %.9f", m, v, value)
			}
		}
	}
}

// forgets must agree with what the recursion does to an error of 1: the mean
// at later steps goes back to where it was, or doesn't.
func TestForgets(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	yes, no := 0, 0
	for range 800 {
		lag := []int{2, 3, 4, 7, 12}[rng.IntN(5)]
		c := constants{alpha: .9 * rng.Float64(), phi: phiLo + (phiHi-phiLo)*rng.Float64()}
		c.beta, c.gamma = c.alpha*rng.Float64(), (1-c.alpha)*(.1+.9*rng.Float64())
		m := Model{Additive, Damped, Additive}
		if rng.IntN(3) == 0 {
			c.phi, m.Trend = 1, Additive
		}
		// Errors of a series that is 1 once, then 0.
		y := make([]float64, 8000)
		y[0] = 1
		tr := newTrace(len(y))
		st := state{season: make([]float64, lag)}
		m.run(y, c, &st, tr)
		size := func(part []float64) (out float64) {
			for _, v := range part {
				out = max(out, math.Abs(v))
			}
			return out
		}
		early, late := size(tr.mean[2000:4000]), size(tr.mean[6000:])
		if late > 1e-12 && late > .8*early && late < 1.2*early {
			continue // too close to the border to tell
		}
		want := late < early || late < 1e-12
		if have := forgets(c, lag, make([]float64, 2*(lag+2))); have != want {
			t.Errorf("lag %d, %+v: forgets is %v, influence goes from %g to %g", lag, c, have, early, late)
		}
		if want {
			yes++
		} else {
			no++
		}
	}
	if yes < 50 || no < 50 {
		t.Errorf("want 50 cases of each, have %d and %d", yes, no)
	}
}

// A member without a trend forgets in the whole usual region.
func TestForgetsWithoutTrend(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	for range 2000 {
		lag := 2 + rng.IntN(23)
		alpha := edge + (1-2*edge)*rng.Float64()
		c := constants{alpha: alpha, gamma: edge + (1-alpha-edge)*rng.Float64()} // phi 0 takes the trend out of theta
		if !forgets(c, lag, make([]float64, 2*(lag+2))) {
			t.Fatalf("lag %d, %+v doesn't forget", lag, c)
		}
	}
}

func TestChoosesWhatMadeTheSeries(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	season := []float64{12, -3, -20, 11}
	for _, m := range []Model{{Additive, None, None}, {Additive, Additive, None}, {Additive, None, Additive}} {
		y := make([]float64, 200)
		for t := range y {
			y[t] = 500 + 3*rng.NormFloat64()
			if m.Trend > None {
				y[t] += 4 * float64(t)
			}
			if m.seasonal() {
				y[t] += season[t%4]
			}
		}
		fit, err := Model{Error: Additive}.Fit(forecast.Plain(y, 4))
		if err != nil {
			t.Fatal(err)
		}
		if have := fit.(*Fit).Model(); have != m {
			t.Errorf("want %v, have %v", m, have)
		}
	}
}

// At a missing step nothing is learned: the state is carried forward.
func TestMissing(t *testing.T) {
	x := Fixed{Model: Model{Additive, Additive, None}, Alpha: .5, Beta: .1, Level: 10, Slope: 2}
	fit, err := x.Fit(forecast.Plain([]float64{14, math.NaN(), math.NaN(), 18, 20, 21, 23, 26, 27}, 1))
	if err != nil {
		t.Fatal(err)
	}
	// By hand: the first error 14-12 makes level 13 and slope 2.2; then 15.2,
	// 17.4 and 19.6 are expected.
	want := []float64{12, 15.2, 17.4, 19.6}
	for i, v := range fit.Fitted()[:4] {
		if math.Abs(v-want[i]) > 1e-12 {
			t.Errorf("step %d: want %v, have %v", i+1, want[i], v)
		}
	}
	if n := fit.(*Fit).n; n != 7 {
		t.Errorf("want 7 errors, have %d", n)
	}
	whole, err := Model{}.Fit(monthly())
	if err != nil {
		t.Fatal(err)
	}
	some, err := Model{}.Fit(thinned(func(t int) bool { return t%10 == 7 }))
	if err != nil {
		t.Fatal(err)
	}
	for j, v := range whole.Forecast(12).Means() {
		if u := some.Forecast(12).Means()[j]; math.Abs(u/v-1) > .05 {
			t.Errorf("step %d: %.4g with a tenth missing, %.4g without", j+1, u, v)
		}
	}
}

func TestPerfectSeries(t *testing.T) {
	for name, f := range map[string]func(t int) float64{
		"zero": func(int) float64 { return 0 }, "constant": func(int) float64 { return 7 }, "line": func(t int) float64 { return 3 + 2*float64(t) },
	} {
		s := forecast.Plain(make([]float64, 60), 12)
		for t := range s.Values {
			s.Values[t] = f(t)
		}
		fit, err := Model{}.Fit(s)
		if err != nil {
			t.Fatal(name, err)
		}
		last := fit.Forecast(12)
		for j, d := range last.Dists {
			want := f(60 + j)
			for _, v := range []float64{d.Mean(), d.Quantile(.1), d.Quantile(.9)} {
				if math.Abs(v-want) > 1e-5*(1+want) {
					t.Errorf("%s: step %d of %v: want %v, have %v", name, j+1, fit.(*Fit).Model(), want, v)
				}
			}
		}
		if have := fit.(*Fit).Model(); name != "line" && have.free(12) != 3 {
			t.Errorf("%s: want simple smoothing, have %v", name, have)
		}
	}
}

func TestRefusals(t *testing.T) {
	s := monthly()
	long := s
	long.Period = 52
	negative := s.Like(slices.Clone(s.Values))
	negative.Values[5] = -1
	for _, c := range []struct {
		m    Model
		s    forecast.Series
		want string
	}{
		{Model{Additive, None, Additive}, long, "stl"},
		{Model{Additive, None, Additive}, yearly(), "season"},
		{Model{Multiplicative, None, None}, negative, "above 0"},
		{Model{Season: Multiplicative}, negative, "above 0"},
		{Model{}, s.Slice(0, 0), "observed"},
	} {
		if _, err := c.m.Fit(c.s); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: want an error with %q, have %v", c.m, c.want, err)
		}
	}
	var short *forecast.TooShort
	if _, err := (Model{}).Fit(s.Slice(0, 4)); !errors.As(err, &short) || short.Need != 5 || short.Have != 4 {
		t.Errorf("want 5 steps needed and 4 there, have %v", err)
	}
	if _, err := (Model{}).Fit(s.Slice(0, 5)); err != nil {
		t.Errorf("five steps: %v", err)
	}
	if _, err := (Fixed{Model: Model{Additive, None, Additive}, Alpha: .1, Season: []float64{1, 2}}).Fit(s); err == nil {
		t.Error("2 seasonals for 12 places gave no error")
	}
	fit, err := Model{}.Fit(long)
	if err != nil || len(fit.Forecast(1).Warnings) == 0 {
		t.Errorf("a long season should be left out with a warning, have %v", err)
	}
	for _, f := range []func(){
		func() { _, _ = Model{Additive, None, Multiplicative}.Fit(s) },
		func() { _, _ = Model{Error: Damped}.Fit(s) },
		func() { _, _ = Fixed{}.Fit(s) },
		func() { fit.Forecast(0) },
		func() { fit.Simulate(1, 0, rand.New(rand.NewPCG(1, 1))) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Error("misuse didn't panic")
				}
			}()
			f()
		}()
	}
}

// Wild relative errors over a long horizon stay finite and positive.
func TestPathsStayFinite(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	s := monthly()
	for t := range s.Values {
		s.Values[t] = math.Exp(4 * rng.NormFloat64())
	}
	for _, m := range family {
		if !m.positive() {
			continue
		}
		fit, err := m.Fit(s)
		if err != nil {
			t.Fatal(m, err)
		}
		for i, v := range fit.Simulate(2000, 20, rng).Values {
			if !(v >= 0) || math.IsInf(v, 0) {
				t.Fatalf("%v: value %d is %v", m, i, v)
			}
		}
	}
}

// The parameters of a fit, put into Fixed, give the same fit.
func TestParametersRoundTrip(t *testing.T) {
	for _, m := range family {
		fit, err := m.Fit(monthly())
		if err != nil {
			t.Fatal(err)
		}
		p := fit.(forecast.Describer).Parameters()
		x := Fixed{Model: m, Alpha: p["alpha"], Beta: p["beta"], Gamma: p["gamma"], Phi: p["phi"], Level: p["level"], Slope: p["slope"]}
		if m.seasonal() {
			for i := range 12 {
				x.Season = append(x.Season, p[fmt.Sprintf("season%d", i+1)])
			}
		}
		again, err := x.Fit(monthly())
		if err != nil {
			t.Fatal(err)
		}
		if have, want := again.(forecast.Likelihood).AICc(), fit.(forecast.Likelihood).AICc(); have != want {
			t.Errorf("%v: AICc %v, again %v", m, want, have)
		}
	}
}

// Memory must not depend on the number of steps of the search: a series that
// is hard to fit takes as much as an easy one of the same length.
func TestAllocations(t *testing.T) {
	easy, hard := monthly(), monthly()
	for t := range easy.Values {
		easy.Values[t] = 5
		hard.Values[t] += float64(t * t % 97)
	}
	count := func(s forecast.Series) float64 {
		return testing.AllocsPerRun(3, func() {
			if _, err := (Model{Multiplicative, Additive, Multiplicative}).Fit(s); err != nil {
				t.Fatal(err)
			}
		})
	}
	if a, b := count(easy), count(hard); a != b {
		t.Errorf("%v allocations for an easy series, %v for a hard one", a, b)
	}
}

// Constants stay in the region, also where the series comes from outside: from
// constants that don't forget.
func TestRegion(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	m := Model{Additive, Additive, Additive}
	work := make([]float64, 28)
	for range 20 {
		made := &Fit{model: m, constants: constants{.41, .41, .58, 1}, sigma: 1, low: math.Inf(-1), high: math.Inf(1),
			first: state{season: make([]float64, 12)}, last: state{1000, 0, make([]float64, 12)}, step: 1}
		if forgets(made.constants, 12, work) {
			t.Fatal("the constants forget")
		}
		y := made.Simulate(120, 1, rng).Values
		fit, err := m.Fit(forecast.Plain(y, 12))
		if err != nil {
			t.Fatal(err)
		}
		c := fit.(*Fit).constants
		if !(c.alpha >= edge && c.alpha <= 1-edge && c.beta >= edge && c.beta <= c.alpha && c.gamma >= edge-1e-12 && c.gamma <= 1-c.alpha+1e-12) ||
			!forgets(c, 12, work) {
			t.Errorf("outside of the region: %+v", c)
		}
	}
}

// Centring the seasonals changes no mean.
func TestCentred(t *testing.T) {
	s := monthly()
	for _, m := range family {
		if !m.seasonal() {
			continue
		}
		st := roughStart(s.Values, 12, m.Season)
		for i := range st.season {
			if m.Season == Additive {
				st.season[i] += 30
			} else {
				st.season[i] *= 1.3
			}
		}
		means := func(st state) []float64 {
			st.season = slices.Clone(st.season)
			tr := newTrace(s.Len())
			m.run(s.Values, constants{.2, .02, .1, 1}, &st, tr)
			return tr.mean
		}
		before := means(st)
		for i, v := range means(st.centred(m)) {
			if math.Abs(v-before[i]) > 1e-9*math.Abs(v) {
				t.Fatalf("%v: step %d: %v, centred %v", m, i+1, before[i], v)
			}
		}
	}
}
