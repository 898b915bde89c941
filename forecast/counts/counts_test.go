package counts

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

func TestContract(t *testing.T) {
	forecasttest.Contract(t, Model{}, forecasttest.Weekly(220, 20, .5, 1), forecasttest.Traits{Counts: true})
	forecasttest.Contract(t, Model{Shift: 8}, forecasttest.Weekly(220, 20, .5, 3), forecasttest.Traits{Counts: true})
	forecasttest.Contract(t, Model{Harmonics: -1}, forecasttest.Weekly(120, 2, .3, 2), forecasttest.Traits{Counts: true})
}

func TestDraws(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, c := range []struct{ mu, size float64 }{{.3, 2}, {4, 20}, {30, 8}, {400, 1e8}} {
		const n = 40000
		d := forecast.NegBin{Mu: c.mu, Size: c.size}
		sum, sq := 0.0, 0.0
		for range n {
			v := draw(rng, c.mu, c.size)
			sum += v
			sq += (v - c.mu) * (v - c.mu)
		}
		if se := math.Sqrt(d.Variance() / n); math.Abs(sum/n-c.mu) > 4*se {
			t.Errorf("mean of NB(%v, %v) is %v", c.mu, c.size, sum/n)
		}
		if math.Abs(sq/n/d.Variance()-1) > .1 {
			t.Errorf("variance of NB(%v, %v) is %v, want %v", c.mu, c.size, sq/n, d.Variance())
		}
	}
}

func BenchmarkFit(b *testing.B) {
	for _, n := range []int{156, 312, 520} {
		s := forecasttest.Weekly(n, 20, .5, 1)
		length := map[int]string{156: "3 years", 312: "6 years", 520: "10 years"}[n]
		for name, m := range map[string]Model{length: {}, length + " that differ": {Shift: 8, Year: .05}} {
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
}

// Many quantiles at once are those one by one.
func TestQuantilesAtOnce(t *testing.T) {
	for _, shares := range [][]float64{{1e-9, .005, .01, .1, .1, .5, .9, .975, .995, .999999, 1}, {.005, .5, .9, .96, .98, .995}} {
		for _, d := range []mixture{newMixture(3, .2, 20), newMixture(-2, .5, 2), newMixture(7, .3, 50), newMixture(1, 0, math.Inf(1)), newMixture(-40, 1, 1), newMixture(30, 1, 5),
			newMixture(math.Log(2000), .5, 1000)} { // some of whose parts have no chance that is a number at the least of them
			out := make([]float64, len(shares))
			d.Quantiles(out, shares)
			for i, p := range shares {
				if want := d.Quantile(p); out[i] != want {
					t.Errorf("mean %g, share %v: want %v, have %v", d.mean, p, want, out[i])
				}
			}
		}
	}
}
