package watch

import (
	"fmt"
	"math"

	"freshet/forecast"
)

// Track follows a series from an origin on: joint futures of its mean, drawn
// at the origin, each weighed anew by every count that came. So each later step
// has the distribution that was known before it, without fitting again.
//
// It is importance sampling along the paths; where what came is so odd that few
// paths would remain, the weights are flattened until a twentieth of the paths
// count (tempering, our own rule), which keeps the range honest.
type Track struct {
	means  forecast.Paths
	size   float64
	came   []float64
	weight [][]float64 // before each step, by path; sums to 1
}

// fewest is the least effective share of the paths.
const fewest = .05

// NewTrack weighs the paths of means by the counts that came from the origin
// on, NaN where none was observed. Counts are negative binomial around their
// mean, with this size. It panics if more came than the paths have steps.
func NewTrack(means forecast.Paths, size float64, came []float64) *Track {
	if len(came) > means.H {
		panic(fmt.Sprintf("watch: need paths of %d steps, have %d", len(came), means.H))
	}
	n := means.N()
	t := &Track{means: means, size: size, came: came, weight: make([][]float64, len(came)+1)}
	logw := make([]float64, n)
	for j := range t.weight {
		t.weight[j] = make([]float64, n)
		flatten(t.weight[j], logw)
		if j == len(came) || math.IsNaN(came[j]) {
			continue
		}
		y := came[j]
		for i := range logw {
			logw[i] += t.logLike(y, means.Path(i)[j])
		}
	}
	return t
}

// own gives the part of the negative log-likelihood that isn't y ln mu.
func (t *Track) own(y, mu float64) float64 {
	if math.IsInf(t.size, 1) {
		return mu
	}
	return (y + t.size) * math.Log1p(mu/t.size)
}

// flatten fills w with weights in proportion to exp(logw), tempered until
// enough paths count.
func flatten(w, logw []float64) {
	top := math.Inf(-1)
	for _, v := range logw {
		top = max(top, v)
	}
	for heat := 1.0; ; heat *= .8 {
		sum, sq := 0.0, 0.0
		for i, v := range logw {
			w[i] = math.Exp(heat * (v - top))
			sum += w[i]
			sq += w[i] * w[i]
		}
		if sum*sum >= fewest*float64(len(w))*sq {
			for i := range w {
				w[i] /= sum
			}
			return
		}
	}
}

// Window gives the distribution of the sum of steps from to before until, as
// known before the first of them, and the sum that came. Steps not observed
// count in neither; n is the number of those that do. Along a path the sum of
// negative binomial counts is taken as one with their mean and variance. It
// panics unless 0 <= from < until <= the steps that came.
func (t *Track) Window(from, until int) (d Mixture, sum float64, n int) {
	if from < 0 || from >= until || until > len(t.came) {
		panic(fmt.Sprintf("watch: need steps within 0 and %d, have %d to %d", len(t.came), from, until))
	}
	for _, y := range t.came[from:until] {
		if !math.IsNaN(y) {
			sum += y
			n++
		}
	}
	w := t.weight[from]
	mus, sizes := make([]float64, len(w)), make([]float64, len(w))
	low, high := math.Inf(1), 0.0
	for i := range w {
		sq := 0.0
		for j, v := range t.means.Path(i)[from:until] {
			if !math.IsNaN(t.came[from+j]) {
				mus[i] += v
				sq += v * v
			}
		}
		if sizes[i] = t.size; sq > 0 {
			sizes[i] *= mus[i] * mus[i] / sq
		}
		low, high = min(low, mus[i]), max(high, mus[i])
	}
	// Paths of nearly the same mean are taken together: the bins are far
	// narrower than the counts' own roughness.
	var bins [groups]struct{ weight, mu, size float64 }
	for i, v := range w {
		b := &bins[0]
		if high > low {
			b = &bins[int((mus[i]-low)/(high-low)*(float64(len(bins))-.5))]
		}
		b.weight += v
		b.mu += v * mus[i]
		b.size += v * sizes[i]
		d.mean += v * mus[i]
	}
	most := sum
	for i := range bins {
		if b := &bins[i]; b.weight > 0 {
			b.mu /= b.weight
			b.size /= b.weight
			if b.weight > negligible {
				most = max(most, b.mu+12*math.Sqrt(b.mu+b.mu*b.mu/b.size)+12)
			}
		}
	}
	d.P = make([]float64, int(min(most, 1e5))+1)
	for _, b := range bins {
		addNegBin(d.P, b.weight, b.mu, b.size)
	}
	return d, sum, n
}

// groups of paths that are taken together, and the weight below which paths
// don't count.
const (
	groups     = 64
	negligible = 1e-9
)

// addNegBin adds weight times the probabilities of a negative binomial count:
// each from its neighbour, outward from the most likely one, so that none
// under- or overflows on the way to one that counts.
func addNegBin(p []float64, weight, mu, size float64) {
	if weight < negligible {
		return
	}
	if mu <= 0 {
		p[0] += weight
		return
	}
	mode := min(math.Floor(mu), float64(len(p)-1))
	start := weight * math.Exp(forecast.NegBin{Mu: mu, Size: size}.LogProb(mode))
	// P(k+1)/P(k) is mu(k+size)/((mu+size)(k+1)), which tends to mu/(k+1).
	a, b := mu*size/(mu+size), mu/(mu+size)
	if math.IsInf(size, 1) {
		a, b = mu, 0
	}
	up := func(k float64) float64 { return (a + b*k) / (k + 1) }
	v := start
	for k := mode; ; k++ {
		p[int(k)] += v
		v *= up(k)
		if int(k)+1 >= len(p) || v < 1e-14*weight {
			break
		}
	}
	v = start
	for k := mode - 1; k >= 0; k-- {
		v /= up(k)
		p[int(k)] += v
		if v < 1e-14*weight {
			break
		}
	}
}

// Size gives the counts' roughness around their mean: the negative binomial's
// size.
func (t *Track) Size() float64 { return t.size }

// Mean gives what a step was expected to bring before it, observed or not. It
// panics unless the step is one of those that came.
func (t *Track) Mean(step int) float64 {
	if step < 0 || step >= len(t.came) {
		panic(fmt.Sprintf("watch: need a step within 0 and %d, have %d", len(t.came), step))
	}
	sum := 0.0
	for i, w := range t.weight[step] {
		sum += w * t.means.Path(i)[step]
	}
	return sum
}
