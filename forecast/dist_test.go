package forecast_test

import (
	"testing"

	"freshet/forecast"
)

// Beyond 2^53 whole numbers lie further apart than 1: the search ends there all
// the same, at the least of them that will do.
func TestQuantileOfHugeCounts(t *testing.T) {
	for _, all := range []float64{1e10, 1e17, 1e40} {
		even := func(k float64) float64 { return min(1, k/all) }
		if q := forecast.CountQuantile(even, .3, all/2); !(even(q) >= .3 && q < .3000001*all) {
			t.Errorf("of counts up to %g three tenths lie below %g", all, q)
		}
	}
}
