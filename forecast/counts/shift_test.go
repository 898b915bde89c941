package counts

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast"

	"gonum.org/v1/gonum/stat"
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

// Of a year to come the season's date isn't known: a narrow peak is expected lower
// and wider than it is in any year. Forecasts and paths, which come by it in two
// ways (a Taylor series; each path's season at its own date), say the same.
func TestDatesToCome(t *testing.T) {
	s := forecast.Series{Start: forecast.NewDate(2018, 1, 1), Step: forecast.Week, Period: forecast.WeeksAYear, Values: make([]float64, 6*52)}
	rng := rand.New(rand.NewPCG(5, 5))
	late := []float64{-9, 6, 11, -5, 1, 8}
	for i := range s.Values {
		day := float64(s.At(i)+3-s.Start) / 365.25
		at := 2 * math.Pi * (day - late[min(5, int(day))]/365.25)
		s.Values[i] = poisson(rng, 60*math.Exp(-.6*math.Cos(at)+.25*math.Cos(4*at)))
	}
	f, err := Model{Shift: 10, Year: .05}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	const ahead, draws = 52, 4000
	fit := f.(*Fit)
	dists, means := fit.Forecast(ahead).Dists, fit.Means(ahead, draws, rng)
	logs, bent := make([]float64, draws), 0.0
	for j, d := range dists {
		for i := range logs {
			logs[i] = math.Log(means.Path(i)[j])
		}
		centre, sd := stat.MeanStdDev(logs, nil)
		want, have := math.Exp(centre+sd*sd/2), d.Mean()
		if math.Abs(have/want-1) > 4*sd/math.Sqrt(draws)+.005 {
			t.Errorf("week %d: forecast %.1f in the mean, paths %.1f", j+1, have, want)
		}
		bent = max(bent, math.Abs(fit.bend(fit.n+j)))
	}
	if bent < .03 {
		t.Errorf("the dates matter by %.3f at most: too little to be a test", bent)
	}
}

// Years that are busier or quieter than most, twenty per cent either way: each is
// found, and the year to come isn't like the last.
func TestYears(t *testing.T) {
	levels := []float64{.2, -.1, 0, -.2, .1, .2}
	s := forecast.Series{Start: forecast.NewDate(2018, 1, 1), Step: forecast.Week, Period: forecast.WeeksAYear, Values: make([]float64, 6*52)}
	mean := func(i int) float64 {
		return 200 * math.Exp(-.5*math.Cos(2*math.Pi*float64(s.At(i)+3-s.Start)/365.25))
	}
	rng := rand.New(rand.NewPCG(6, 6))
	for i := range s.Values {
		year := min(5, int(float64(s.At(i)+3-s.Start)/365.25))
		s.Values[i] = poisson(rng, mean(i)*math.Exp(levels[year]))
	}
	f, err := Model{Shift: 8, Year: .15}.Fit(s)
	if err != nil {
		t.Fatal(err)
	}
	fit := f.(*Fit)
	level := func(year int) float64 { return fit.beta[fit.model.delay(s.Period, year)+1] }
	found := make([]float64, len(levels))
	for y := range found {
		found[y] = level(fit.model.years.of(s.Phase(52*y + 26)))
	}
	middle := stat.Mean(found, nil) - stat.Mean(levels, nil)
	for y, want := range levels {
		if have := found[y] - middle; math.Abs(have-want) > .07 {
			t.Errorf("year %d: want a level of %+.2f, have %+.2f", y+1, want, have)
		}
	}
	if last := level(fit.model.years.len() - 1); math.Abs(last) > 1e-6 {
		t.Errorf("the level of a year to come is %+.3f", last)
	}
	off := 0.0
	for j, d := range fit.Forecast(40).Dists[12:] {
		off += math.Log(d.Mean()/mean(s.Len()+12+j)) / 28
	}
	if math.Abs(off) > .1 { // the last year was .2 above
		t.Errorf("the year to come is forecast %+.2f from the mean of all", off)
	}
}

// The harmonics by sums of angles are those of the library.
func TestHarmonics(t *testing.T) {
	x := make([]float64, 24)
	for _, cycles := range []float64{0, .1, .25, -3.7, 2025.9} {
		harmonics(x, cycles)
		for k := range 12 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k+1) * math.Mod(cycles, 1))
			if math.Abs(x[2*k]-sin) > 1e-10 || math.Abs(x[2*k+1]-cos) > 1e-10 {
				t.Errorf("harmonic %d at %v: want %v, %v, have %v, %v", k+1, cycles, sin, cos, x[2*k], x[2*k+1])
			}
		}
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
