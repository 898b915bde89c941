package watch

import (
	"fmt"
	"math"
)

// Changes gives the evidence that a series changed: out[from][j] is how many
// times likelier the steps from..from+j are if from the first of them on the
// mean were a multiple of what it would have been than if it weren't. The
// multiple is one of times, each as likely as the others; each start is
// followed for so many steps at most, and not past one without a count. It is a
// Bayes factor: both sides have
// what was known before from, the doubts about the mean and the counts'
// roughness included, so that what the level does of itself is no evidence.
//
// With nothing changed each has the mean 1, and the sum of those that end with
// a step exceeds h at most once in h steps in the long run (Shiryaev 1963,
// Roberts 1966; Pollak 1987, from memory). It panics without multiples, and
// unless these and longest are above 0.
func (t *Track) Changes(times []float64, longest int) [][]float64 {
	if len(times) == 0 || longest < 1 {
		panic(fmt.Sprintf("watch: need multiples and 1 step or more, have %d and %d", len(times), longest))
	}
	for _, by := range times {
		if !(by > 0) {
			panic(fmt.Sprintf("watch: need multiples above 0, have %v", by))
		}
	}
	like := make([][][]float64, len(t.came))
	for j := range like {
		like[j] = t.likelihoods(j, times)
	}
	out := make([][]float64, len(t.came))
	weight := make([][]float64, 1+len(times)) // of the paths: as they were, then under each multiple
	for c := range weight {
		weight[c] = make([]float64, t.means.N())
	}
	for from := range out {
		for c := range weight {
			copy(weight[c], t.weight[from])
		}
		scale := 1.0
		for j := from; j < min(len(out), from+longest); j++ {
			if like[j] == nil {
				break
			}
			var sums [2]float64
			for c, w := range weight {
				sum := 0.0
				for i, v := range like[j][c] {
					w[i] *= v * scale
					sum += w[i]
				}
				sums[min(1, c)] += sum
			}
			out[from] = append(out[from], sums[1]/sums[0]/float64(len(times)))
			scale = 1 / sums[0]
		}
	}
	return out
}

// mostTelling bounds the logarithm of what a single count can say for or
// against a path, so that no weight overflows.
const mostTelling = 60

// likelihoods gives how likely the count of step j is on each path, as it is
// and under each multiple, but for a factor that all have in common; nil where
// none was observed.
func (t *Track) likelihoods(j int, times []float64) [][]float64 {
	y := t.came[j]
	if math.IsNaN(y) {
		return nil
	}
	out := make([][]float64, 1+len(times))
	for c := range out {
		out[c] = make([]float64, t.means.N())
	}
	own, top := out[0], math.Inf(-1)
	for i := range own {
		own[i] = t.logLike(y, t.means.Path(i)[j])
		top = max(top, own[i])
	}
	logs := make([]float64, len(times))
	for c, by := range times {
		logs[c] = y * math.Log(by)
	}
	for i := range own {
		mu := t.means.Path(i)[j]
		rest := own[i] + t.own(y, mu) - top // what a multiple only adds its logarithm to
		for c, by := range times {
			telling := own[i] - top
			if mu > 0 {
				telling = rest + logs[c] - t.own(y, by*mu)
			}
			out[1+c][i] = math.Exp(min(mostTelling, telling))
		}
		own[i] = math.Exp(max(-mostTelling, own[i]-top))
	}
	return out
}

// logLike gives the logarithm of a count's likelihood, less what doesn't depend
// on the mean.
func (t *Track) logLike(y, mu float64) float64 {
	if mu > 0 {
		return y*math.Log(mu) - t.own(y, mu)
	}
	if y > 0 {
		return -50 // a path on which nothing could come
	}
	return 0
}
