package counts

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast"
)

// Six years of one season, each early or late by days that are known here, and a
// seventh that comes early, of which the rise alone has been seen: the days are
// found, and the fall is expected early too.
func TestShift(t *testing.T) {
	late := []float64{-10, 6, 12, -4, 0, 9, -12}
	s := forecast.Series{Start: forecast.NewDate(2018, 1, 1), Step: forecast.Week, Period: forecast.WeeksAYear, Values: make([]float64, 6*52+17)}
	truth := func(i int) float64 {
		day := float64(s.At(i)+3-forecast.NewDate(2018, 1, 1)) / 365.25
		year := min(6, int(day))
		at := 2 * math.Pi * (day - late[year]/365.25)
		return 400 * math.Exp(-.9*math.Cos(at)-.3*math.Cos(2*at))
	}
	rng := rand.New(rand.NewPCG(1, 4))
	for i := range s.Values {
		s.Values[i] = poisson(rng, truth(i))
	}
	const ahead = 20
	fit := func(m Model) (*Fit, float64) {
		f, err := m.Fit(s)
		if err != nil {
			t.Fatal(err)
		}
		off := 0.0
		for j, d := range f.Forecast(ahead).Dists {
			off += math.Abs(math.Log(d.Mean()/truth(s.Len()+j))) / ahead
		}
		return f.(*Fit), off
	}
	shifted, off := fit(Model{Shift: 10})
	_, before := fit(Model{})
	t.Logf("twenty weeks ahead off by %.3f with shifts, by %.3f without", off, before)
	if off > .06 || off > before/2 {
		t.Errorf("twenty weeks ahead are off by %.3f with shifts, by %.3f without", off, before)
	}
	// A shift of all years is the season's own: what is found is apart from their
	// mean. The first year's trough is the records' first day.
	days, mean := shifted.beta[1+2*DefaultHarmonics:], 0.0
	if len(days) < len(late) {
		t.Fatalf("want %d years, have %d", len(late)+toCome, len(days))
	}
	for y := range late {
		mean += (days[y] - late[y]) / float64(len(late))
	}
	for y, want := range late {
		if have := days[y] - mean; math.Abs(have-want) > 2.5 {
			t.Errorf("year %d: want %v days late, have %.1f", y+1, want, have)
		}
	}
	// Of years to come nothing is known.
	if last := days[len(days)-1]; math.Abs(last) > 1e-6 {
		t.Errorf("a year to come is %v days late", last)
	}
}

// Without two years of records, or a season, there is nothing to shift.
func TestNothingToShift(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, m := range []Model{{Shift: 8}, {Shift: 8, Harmonics: -1}} {
		fit, err := m.Fit(like([]float64{.3, .2}, 100, rng))
		if err != nil {
			t.Fatal(err)
		}
		if have, want := len(fit.(*Fit).beta), m.width(forecast.WeeksAYear); have != want {
			t.Errorf("%v: want %d coefficients, have %d", m, want, have)
		}
	}
}

// Beside a known part the season may be many times as strong as is usual: of a
// series that lives in a few weeks of the year, most of it is found.
func TestDepartingSeason(t *testing.T) {
	strong := []float64{0, -1.5, 0, .5}
	truth := func(s forecast.Series, i int) float64 {
		w := 2 * math.Pi * s.Phase(i)
		return strong[1]*math.Cos(w) + strong[3]*math.Cos(2*w)
	}
	rng := rand.New(rand.NewPCG(3, 3))
	s := forecast.Series{Start: forecast.NewDate(2022, 1, 3), Step: forecast.Week, Period: forecast.WeeksAYear, Values: make([]float64, 156)}
	for i := range s.Values {
		s.Values[i] = poisson(rng, .4*math.Exp(truth(s, i)))
	}
	fit, err := Model{Harmonics: 4, Offset: func(forecast.Date, int) float64 { return math.Log(.4) }}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	if b := fit.(*Fit).beta; math.Abs(b[2]-strong[1]) > .15 {
		t.Errorf("want a first harmonic of %v, have %.2f", strong[1], b[2])
	}
}
