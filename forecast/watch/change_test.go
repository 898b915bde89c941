package watch

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast"
)

// Where the mean is known the odds are the likelihood ratio of negative
// binomials, multiplied up; a step without a count ends a start.
func TestChangesOfAKnownMean(t *testing.T) {
	means := forecast.NewPaths(0, 7, 5, 2)
	for i := range 2 {
		copy(means.Path(i), []float64{10, 12, 8, 9, 11})
	}
	came := []float64{14, 11, math.NaN(), 20, 3}
	const size, by = 7.0, 1.5
	got := NewTrack(means, size, came).Changes([]float64{by}, 3)
	one := func(j int) float64 {
		mu := means.Path(0)[j]
		return math.Exp(forecast.NegBin{Mu: by * mu, Size: size}.LogProb(came[j]) - forecast.NegBin{Mu: mu, Size: size}.LogProb(came[j]))
	}
	want := [][]float64{{one(0), one(0) * one(1)}, {one(1)}, nil, {one(3), one(3) * one(4)}, {one(4)}}
	for from := range want {
		if len(got[from]) != len(want[from]) {
			t.Fatalf("from %d: want %v, have %v", from, want[from], got[from])
		}
		for j, w := range want[from] {
			if math.Abs(got[from][j]/w-1) > 1e-9 {
				t.Errorf("from %d, %d later: want %v, have %v", from, j, w, got[from][j])
			}
		}
	}
}

// Where it isn't, each side weighs the paths by what came before the start, and
// on from there by what would have been likely on that side.
func TestChangesOfALearnedMean(t *testing.T) {
	means := forecast.NewPaths(0, 7, 3, 2)
	copy(means.Path(0), []float64{10, 10, 10})
	copy(means.Path(1), []float64{20, 20, 20})
	came := []float64{14, 21, 32}
	const size, by = 30.0, 1.8
	like := func(j, path int, times float64) float64 {
		return math.Exp(forecast.NegBin{Mu: times * means.Path(path)[j], Size: size}.LogProb(came[j]))
	}
	side := func(times float64) (sum float64) {
		for path := range 2 {
			sum += like(0, path, 1) * like(1, path, times) * like(2, path, times)
		}
		return sum
	}
	if got, want := NewTrack(means, size, came).Changes([]float64{by}, 2)[1][1], side(by)/side(1); math.Abs(got/want-1) > 1e-9 {
		t.Errorf("want %v, have %v", want, got)
	}
}

// With nothing changed the odds have the mean 1, whatever is known of the level,
// and the sum of those that end with a step is above h in at most one step in h;
// of a level that rose they tell.
func TestChangesByChance(t *testing.T) {
	const paths, steps, longest, size = 150, 6, 4, 20.0
	rng := rand.New(rand.NewPCG(1, 1))
	level := func(to []float64) { // a level that differs from series to series and wanders
		u := .2 * rng.NormFloat64()
		for j := range to {
			to[j] = 15 * math.Exp(u)
			u = .8*u + .08*rng.NormFloat64()
		}
	}
	means := forecast.NewPaths(0, 7, steps, paths)
	for i := range paths {
		level(means.Path(i))
	}
	series := func(times float64) (odds [][]float64) {
		came := make([]float64, steps)
		path := means.Path(rng.IntN(paths))
		for j := range came {
			came[j] = forecast.NegBin{Mu: times * path[j], Size: size}.Quantile(rng.Float64())
		}
		return NewTrack(means, size, came).Changes([]float64{1.3, 2}, longest)
	}
	const n, h = 500, 10.0
	mean, over, told := 0.0, 0.0, 0.0
	last := func(odds [][]float64) (sum float64) { // that end with step longest
		for from := 1; from <= longest; from++ {
			sum += odds[from][longest-from]
		}
		return sum
	}
	for range n {
		odds := series(1)
		mean += odds[0][1] / n
		if last(odds) > h {
			over++
		}
		if last(series(2)) > h {
			told++
		}
	}
	if math.Abs(mean-1) > .25 { // three standard errors
		t.Errorf("want odds of 1 in the mean, have %.2f", mean)
	}
	if most := n / h; over > most+3*math.Sqrt(most) || over < most/10 {
		t.Errorf("want odds above %v in some of, and at most, 1 in %v of %d, have %v", h, h, n, over)
	}
	if told < .7*n {
		t.Errorf("twice as many are told in %v of %d", told, n)
	}
}
