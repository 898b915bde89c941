package combine_test

import (
	"cmp"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/naive"
)

// repairs reads the Open Repair Alliance's records as weekly counts: of all,
// and of the twelve categories with the most. They begin in 2015 and end with
// 2019, before the pandemic closed the events.
func repairs(t testing.TB) []forecast.Series {
	first := time.Date(2015, 1, 5, 0, 0, 0, 0, time.UTC)
	const weeks = 5*52 + 1
	of := map[string][]float64{"all": make([]float64, weeks)}
	sum := map[string]float64{}
	for _, row := range open(t, "openrepair", "repairs.csv")[1:] {
		day, err := time.Parse(time.DateOnly, row[2])
		if err != nil {
			t.Fatal(err)
		}
		week := int(day.Sub(first).Hours() / 24 / 7)
		if day.Before(first) || week >= weeks {
			continue
		}
		kind := row[4]
		if of[kind] == nil {
			of[kind] = make([]float64, weeks)
		}
		of["all"][week]++
		of[kind][week]++
		sum[kind]++
	}
	kinds := slices.SortedFunc(maps.Keys(sum), func(a, b string) int { return cmp.Compare(sum[b], sum[a]) })
	var out []forecast.Series
	for _, k := range append([]string{"all"}, kinds[:12]...) {
		out = append(out, forecast.Plain(of[k], 52.1775))
	}
	return out
}

// TestWeeklyCounts forecasts 13 weeks from twelve origins of each series. A
// range of whole numbers holds more than it says, since it can't end between
// two of them; drawn at random within its steps (Brockwell 2007, Statistics and
// Probability Letters 77), what came has to lie inside as often as it says.
func TestWeeklyCounts(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	var all []forecast.Outcome
	ratio := 0.0
	series := repairs(t)
	for _, s := range series {
		origins := forecast.Origins(s.Len(), 120, 13, 12)
		score, out, err := forecast.Backtest(combine.Auto{Counts: true}, s, 13, origins)
		if err != nil {
			t.Fatal(err)
		}
		rule, _, err := forecast.Backtest(naive.Seasonal{}, s, 13, origins)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, out...)
		ratio += score.WIS / rule.WIS / float64(len(series))
	}
	s := forecast.Summarize(all)
	in80, in95 := insideAtRandom(all, rand.New(rand.NewPCG(1, 2)))
	t.Logf("WIS over the rule's %.3f; %.3f and %.3f inside, at random %.3f and %.3f", ratio, s.Coverage80, s.Coverage95, in80, in95)
	if ratio > .75 {
		t.Errorf("want .75 of the rule's interval score, have %.3f", ratio)
	}
	if in80 < .78 || in80 > .83 || in95 < .93 || in95 > .97 {
		t.Errorf("want .78 to .83 and .93 to .97 inside, have %.3f and %.3f", in80, in95)
	}
}

// insideAtRandom gives the shares of outcomes inside the 80 and 95 % ranges,
// each taken at a random place within its step of the distribution.
func insideAtRandom(out []forecast.Outcome, rng *rand.Rand) (in80, in95 float64) {
	upTo := func(d forecast.Dist, y float64) float64 { // its share at or below y
		low, high := 0.0, 1.0
		for range 40 {
			if p := (low + high) / 2; d.Quantile(p) <= y {
				low = p
			} else {
				high = p
			}
		}
		return low
	}
	for _, o := range out {
		below := upTo(o.Dist, o.Actual-1)
		u := below + rng.Float64()*(upTo(o.Dist, o.Actual)-below)
		if .1 < u && u < .9 {
			in80 += 1 / float64(len(out))
		}
		if .025 < u && u < .975 {
			in95 += 1 / float64(len(out))
		}
	}
	return in80, in95
}
