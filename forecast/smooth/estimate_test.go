package smooth

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast/forecasttest"
)

func problems(t testing.TB) map[string]*problem {
	s := forecasttest.Weekly(260, 60, .4, 1)
	s.Values[100] = math.NaN()
	out := map[string]*problem{}
	for name, multiplicative := range map[string]bool{"additive": false, "multiplicative": true} {
		start, err := firstSeasons(s, multiplicative, name)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = newProblem(s.Values, multiplicative, start)
	}
	return out
}

var all = [5]bool{true, true, true, true, true}

// The derivatives must be those of the sum of squares: the reference is its
// own central difference.
func TestSlopesAgainstDifferences(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for name, p := range problems(t) {
		for range 20 {
			x := vector{.05 + .9*rng.Float64(), .3 * rng.Float64(), rng.Float64(), p.start.Level, p.start.Trend}
			sse, grad, curv := p.slopes(&x, &all)
			if plain, _, _, _ := p.run(&x, nil); math.Abs(sse-plain) > 1e-10*plain {
				t.Fatalf("%s at %v: run has %v, slopes %v", name, x, plain, sse)
			}
			exact := curv
			p.bend(&x, &grad, &exact, &all, sse)
			for i := range x {
				h := 1e-5 * math.Sqrt(sse/curv[i][i])
				up, down := x, x
				up[i] += h
				down[i] -= h
				a, _, _, _ := p.run(&up, nil)
				b, _, _, _ := p.run(&down, nil)
				want := (a - b) / (4 * h)
				if math.Abs(grad[i]-want) > 1e-5*math.Sqrt(sse*curv[i][i]) {
					t.Errorf("%s at %v, %s: want half a slope of %v, have %v", name, x, names[i], want, grad[i])
				}
				if exact == curv {
					continue // not convex here
				}
				if want := (a - 2*sse + b) / (2 * h * h); math.Abs(exact[i][i]-want) > 1e-3*curv[i][i] {
					t.Errorf("%s at %v, %s: want half a bend of %v, have %v", name, x, names[i], want, exact[i][i])
				}
			}
		}
	}
}

// The least sum of squares must be one: no point of a fine random search in
// the box, nor any near it, does better.
func TestMinimumIsOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	free := [5]bool{true, true, true}
	for name, p := range problems(t) {
		x := vector{3: p.start.Level, 4: p.start.Trend}
		x, least := p.minimize(x, free)
		for k := range 4000 {
			y := x
			for i := range 3 {
				y[i] = rng.Float64()
				if k%2 == 0 {
					y[i] = min(max(x[i]+.02*rng.NormFloat64(), 0), 1)
				}
			}
			if sum, _, _, _ := p.run(&y, nil); sum < least*(1-1e-12) {
				t.Fatalf("%s: %v has %v, less than %v at %v", name, y, sum, least, x)
			}
		}
	}
}

func TestMinimizeAllocatesNothing(t *testing.T) {
	for name, p := range problems(t) {
		x := vector{3: p.start.Level, 4: p.start.Trend}
		if n := testing.AllocsPerRun(3, func() { p.minimize(x, all) }); n != 0 {
			t.Errorf("%s: want no allocation, have %v", name, n)
		}
	}
}
