package combine_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/forecasttest"
)

// One gross error may move the next step's median by a tenth at most, wherever
// it stands: a comma that slipped by three places, or a value that became
// nothing in a series that never comes near it.
func TestOneGrossErrorInASeries(t *testing.T) {
	short := []float64{20, 22, 19, 21, 20, 23, 18, 20, 21, 19, 22, 20, 20, 21, 20, 22, 19, 21, 20, 22}
	for name, s := range map[string]forecast.Series{
		"airline passengers": air(t), "20 values": forecast.Plain(short, 1), "20 values of a season": forecast.Plain(short, 12),
		"12 values": forecast.Plain(short[:12], forecast.WeeksAYear), "weeks": weekly(),
	} {
		for _, counts := range []bool{false, true} {
			if counts && slices.ContainsFunc(s.Values, func(v float64) bool { return v != math.Floor(v) }) {
				continue
			}
			median := func(values []float64) float64 {
				return fit(t, combine.Auto{Counts: counts}, s.Like(values)).Forecast(1).Dists[0].Quantile(.5)
			}
			want := median(s.Values)
			for _, at := range []int{0, s.Len() / 3, s.Len() - 2, s.Len() - 1} {
				values := slices.Clone(s.Values)
				values[at] *= 1000
				if have := median(values); math.Abs(have-want) > .1*want {
					t.Errorf("%s, counts %v: step %d times 1,000 moved the median from %v to %v", name, counts, at, want, have)
				}
			}
		}
	}
}

// Where all values but an error are the same, or few are left beside it, it has
// no say either, and the warnings name it.
func TestOneGrossErrorAmongLittleElse(t *testing.T) {
	same := slices.Repeat([]float64{5}, 60)
	few := []float64{5, 5.1, 4.9, 5.2, 4.8, 5.05, 5, 5}
	for _, values := range [][]float64{same, few} {
		values[4] = 500
		next := fit(t, combine.Auto{}, forecast.Plain(values, 12)).Forecast(1)
		if mean := next.Dists[0].Mean(); math.Abs(mean-5) > .1 {
			t.Errorf("the mean of %d values is %v", len(values), mean)
		}
		if !slices.ContainsFunc(next.Warnings, func(w error) bool { return strings.Contains(w.Error(), "the 500 at step 5") }) {
			t.Errorf("have %v", next.Warnings)
		}
	}
}

// What only looks odd stays in: a peak that comes each year, a new level, and
// each value of an ordinary series.
func TestNothingElseIsCleaned(t *testing.T) {
	peak, level := make([]float64, 60), make([]float64, 60)
	for i := range peak {
		noise := float64(i * i % 7)
		peak[i], level[i] = 100+noise, 100+noise
		if i%12 == 11 {
			peak[i] += 5000
		}
		if i >= 40 {
			level[i] += 5000
		}
	}
	for name, s := range map[string]forecast.Series{
		"yearly peak": forecast.Plain(peak, 12), "new level": forecast.Plain(level, 12), "airline passengers": air(t), "weekly counts": forecasttest.Weekly(520, 20, .5, 1),
	} {
		seen := 0
		fit(t, combine.Cleaned{Of: spy(func(s forecast.Series) { seen = s.Observed() })}, s)
		if seen != s.Observed() {
			t.Errorf("%s: %d of %d values were left out", name, s.Observed()-seen, s.Observed())
		}
	}
}

// spy is a model that shows what it was given.
type spy func(forecast.Series)

func (spy) String() string { return "spy" }

func (m spy) Fit(s forecast.Series) (forecast.Fit, error) {
	m(s)
	return combine.Auto{}.Fit(s)
}
