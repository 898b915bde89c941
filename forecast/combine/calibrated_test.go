package combine_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/forecasttest"
	"freshet/forecast/naive"
)

func TestCalibratedContract(t *testing.T) {
	forecasttest.Contract(t, combine.Calibrated{Of: naive.Mean{}, Least: 52}, weekly(), forecasttest.Traits{ScaleFree: true, ShiftFree: true})
}

// A model that says N(0, sigma) of standard normal values is brought to within
// a few percent of them where the past has many origins: widened in its tails
// wholly, and in the middle by the share of trust, 200 of 216 origins. The
// quantiles are the normal distribution's.
func TestCalibratedBringsRangesToThePast(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 8))
	values := make([]float64, 4000)
	for i := range values {
		values[i] = rng.NormFloat64()
	}
	s := forecast.Plain(values, 12)
	for _, sigma := range []float64{.5, 1, 2} {
		fit, err := combine.Calibrated{Of: stated{0, sigma}, Origins: 200}.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		d := fit.Forecast(3).Dists[2]
		inner := sigma * math.Pow(1/sigma, 200./216)
		for _, c := range []struct{ p, want float64 }{{.1, inner}, {.9, inner}, {.5, 1}, {.025, 1}, {.975, 1}} {
			want := c.want * distuv.UnitNormal.Quantile(c.p)
			if have := d.Quantile(c.p); math.Abs(have-want) > .12 {
				t.Errorf("sigma %v: want the %v quantile %.2f, have %.2f", sigma, c.p, want, have)
			}
		}
		// Paths tell the same as the steps.
		p := fit.Simulate(3, 20_000, rng).Dist(2)
		for _, q := range []float64{.025, .1, .5, .9, .975} {
			if have, want := p.Quantile(q), d.Quantile(q); math.Abs(have-want) > .06 {
				t.Errorf("sigma %v: want the paths' %v quantile near %.2f, have %.2f", sigma, q, want, have)
			}
		}
	}
}

// inTurn says N(0, sigma) of every other step and hardly a width of the rest.
type inTurn struct{ stated }

func (m inTurn) Fit(s forecast.Series) (forecast.Fit, error) {
	f, err := m.stated.Fit(s)
	return inTurnFit{f.(statedFit)}, err
}

type inTurnFit struct{ statedFit }

func (f inTurnFit) Forecast(h int) forecast.Forecast {
	out := f.statedFit.Forecast(h)
	for j := range out.Dists {
		if (f.s.Len()+j)%2 == 0 {
			out.Dists[j] = distuv.Normal{Sigma: f.sigma / 100}
		}
	}
	return out
}

// Months that are always closed have no say: their ranges hold at any width,
// and with them half-width ranges would be widened by 1.68, not by 2.
func TestCalibratedLeavesClosedMonthsOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 9))
	values := make([]float64, 4001)
	for i := 1; i < len(values); i += 2 {
		values[i] = rng.NormFloat64()
	}
	fit, err := combine.Calibrated{Of: inTurn{stated{0, .5}}, Origins: 200}.Fit(forecast.Plain(values, 12))
	if err != nil {
		t.Fatal(err)
	}
	if have := fit.Forecast(1).Dists[0].Quantile(.975); math.Abs(have-1.96) > .12 {
		t.Errorf("want the .975 quantile near 1.96, have %.2f", have)
	}
}

// onceWild says N(0, sigma), and once that all but the middle is a million times
// as wide.
type onceWild struct{ stated }

func (m onceWild) Fit(s forecast.Series) (forecast.Fit, error) {
	f, err := m.stated.Fit(s)
	return onceWildFit{f.(statedFit)}, err
}

type onceWildFit struct{ statedFit }

func (f onceWildFit) Forecast(h int) forecast.Forecast {
	out := f.statedFit.Forecast(h)
	if f.s.Len() == 3988 { // the last origin that is held against the past
		out.Dists[0] = wildTails{distuv.Normal{Sigma: f.sigma}}
	}
	return out
}

type wildTails struct{ distuv.Normal }

func (d wildTails) Quantile(p float64) float64 {
	if q := d.Normal.Quantile(p); p > .05 && p < .95 {
		return q
	} else {
		return 1e6 * q
	}
}

// Beside one range beyond all measure the others have hardly a width: too few
// are left to tell by, and the ranges stay as they are.
func TestCalibratedByOneWildRange(t *testing.T) {
	s := forecast.Plain(make([]float64, 4000), 12)
	rng := rand.New(rand.NewPCG(5, 10))
	for i := range s.Values {
		s.Values[i] = rng.NormFloat64()
	}
	s.Values[3988] = 1e7
	d := fit(t, combine.Calibrated{Of: onceWild{stated{0, 1}}, Origins: 20}, s).Forecast(1).Dists[0]
	if have := d.Quantile(.975); math.Abs(have-1.96) > .01 {
		t.Errorf("want the .975 quantile near 1.96, have %.2f", have)
	}
}
