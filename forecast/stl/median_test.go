package stl

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// With an odd number of values both middle ranks are one, and the partial
// sort has no way to go wrong. An even number's quirk is in R's numbers, which
// the robust stl_* references hold.
func TestMedianOfOddNumbers(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for n := 1; n < 400; n += 2 {
		a := make([]float64, n)
		for i := range a {
			a[i] = float64(rng.IntN(n)) // with ties
		}
		sorted := slices.Sorted(slices.Values(a))
		if have, want := median6(a), 6*sorted[n/2]; have != want {
			t.Fatalf("%d values: want %v, have %v", n, want, have)
		}
		slices.Sort(a)
		if !slices.Equal(a, sorted) {
			t.Fatalf("%d values: they aren't the same any more", n)
		}
	}
}
