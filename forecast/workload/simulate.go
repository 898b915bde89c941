package workload

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/counts"
)

// Futures are joint paths of drop-offs and hours. Week 0 is the one that holds
// the day asked about, what was seen of it included.
type Futures struct {
	Kinds    []string
	DropOffs []forecast.Paths // by kind
	Hours    []forecast.Paths // by kind; nil if no job's hours are known
	Total    forecast.Paths
	Labor    forecast.Paths // total hours; Values nil if not known
	// Still is the part of week 0's hours that has yet to come.
	Still []float64
	Model string
	// Follows says that the total's model knows of Past.NewLevel: the count
	// model does.
	Follows bool
	// Score is how the total's model did on rolling origins of the shop's own
	// weeks, Steps ahead; nil where the history is too short to try.
	Score    *forecast.Score
	Steps    int
	Warnings []error
}

// Simulate draws n joint futures of so many weeks. It panics if either is below
// 1.
func (f *Fit) Simulate(weeks, n int, rng *rand.Rand) Futures {
	p := f.past
	out := Futures{Kinds: p.Kinds, Model: f.name}
	total := chosen(f.total)
	if c, ok := f.total.(*combine.Chosen); ok { // the choice is no doubt, and told in Model
		out.Model = c.Why.Error()
		for i := range c.Scores {
			if c.Scores[i].Model == c.Model.String() {
				out.Score, out.Steps = &c.Scores[i], c.Steps
			}
		}
	}
	_, out.Follows = total.(*counts.Fit)
	out.Warnings = append(f.warn[:len(f.warn):len(f.warn)], total.Forecast(1).Warnings...)
	out.Total = f.paths(weeks, n, rng)
	newPaths := func() forecast.Paths { return forecast.NewPaths(out.Total.Start, forecast.Week, weeks, n) }
	known := len(f.pool) > 0
	for range p.Kinds {
		out.DropOffs = append(out.DropOffs, newPaths())
		if known {
			out.Hours = append(out.Hours, newPaths())
		}
	}
	if known {
		out.Labor, out.Still = newPaths(), make([]float64, n)
	}
	weight := f.weights(weeks, n, rng)
	// Each path has its own numbers, so that they are the same on any machine.
	seed, workers := rng.Uint64(), runtime.GOMAXPROCS(0)
	forecast.Together(workers, func(w int) error {
		var source rand.PCG
		rng := rand.New(&source)
		room := make([]float64, 2*len(p.Kinds))
		for i := w; i < n; i += workers {
			source.Seed(seed, uint64(i))
			f.path(i, &out, weight, room, rng)
		}
		return nil
	})
	return out
}

// weights draws each kind's weight within the total; without values where it
// keeps a constant share.
func (f *Fit) weights(weeks, n int, rng *rand.Rand) []forecast.Paths {
	out := make([]forecast.Paths, len(f.kinds))
	own := make([]*rand.Rand, len(f.kinds))
	for k, kf := range f.kinds {
		if kf.fit != nil {
			own[k] = rand.New(rand.NewPCG(rng.Uint64(), uint64(k)))
		}
	}
	forecast.Together(len(out), func(k int) error {
		if own[k] != nil {
			out[k] = f.kinds[k].fit.Means(weeks, n, own[k])
		}
		return nil
	})
	return out
}

// path draws the kinds and hours of one path's drop-offs; room is for two
// numbers a kind.
func (f *Fit) path(i int, out *Futures, weight []forecast.Paths, room []float64, rng *rand.Rand) {
	seen, known := f.past.Seen, out.Hours != nil
	upTo, scale := room[:len(f.kinds)], room[len(f.kinds):]
	for k, kf := range f.kinds {
		scale[k] = math.Exp(kf.rough*rng.NormFloat64() - kf.rough*kf.rough/2)
	}
	first := i * out.Total.H // of the path's values
	for j, count := range out.Total.Path(i) {
		at := first + j
		sum := 0.0
		for k := range f.kinds {
			kf := &f.kinds[k]
			w := kf.share
			if kf.fit != nil {
				w = weight[k].Values[at] * gammaNoise(rng, kf.size)
			}
			sum += w
			upTo[k] = sum
		}
		left := int(count)
		if j == 0 {
			for k, n := range seen {
				out.DropOffs[k].Values[at] = n
				left -= int(n)
				for range int(n) {
					if known {
						out.Hours[k].Values[at] += f.jobHours(k, rng) * scale[k]
					}
				}
			}
		}
		for range left {
			k := pick(upTo, rng.Float64()*sum)
			out.DropOffs[k].Values[at]++
			if known {
				h := f.jobHours(k, rng) * scale[k]
				out.Hours[k].Values[at] += h
				if j == 0 {
					out.Still[i] += h
				}
			}
		}
		if known {
			for k := range f.kinds {
				out.Labor.Values[at] += out.Hours[k].Values[at]
			}
		}
	}
}

// chosen gives the fit that was chosen, where one was.
func chosen(f forecast.Fit) forecast.Fit {
	if c, ok := f.(*combine.Chosen); ok {
		return c.Fit
	}
	return f
}

func pick(upTo []float64, u float64) int {
	for k, v := range upTo {
		if u < v {
			return k
		}
	}
	return len(upTo) - 1
}

func (f *Fit) jobHours(k int, rng *rand.Rand) float64 {
	kf := &f.kinds[k]
	if len(kf.hours) > 0 && rng.Float64() < kf.own {
		return kf.hours[rng.IntN(len(kf.hours))]
	}
	return kf.like[rng.IntN(len(kf.like))]
}

// gammaNoise gives a gamma variable of mean 1 and this shape.
func gammaNoise(rng *rand.Rand, shape float64) float64 {
	if shape > 1e6 {
		return 1
	}
	return counts.Gamma(rng, shape) / shape
}

// paths draws the total's futures, week 0 given what was seen of it: a path
// whose week brings N drop-offs would have shown k of them by now with the
// binomial probability of k among N. Paths are drawn again by that weight
// (systematic resampling), so that what was seen also moves the weeks after.
// For a negative binomial week this is exactly the gamma-Poisson nowcast.
func (f *Fit) paths(weeks, n int, rng *rand.Rand) forecast.Paths {
	p := f.past
	if p.Total.End() != p.AsOf.Monday() {
		panic(fmt.Sprintf("workload: the weeks end on %v, not on %v", p.Total.End(), p.AsOf.Monday()))
	}
	draws := f.total.Simulate(weeks, n, rng)
	for i, v := range draws.Values {
		draws.Values[i] = max(0, math.Round(v))
	}
	seen := 0.0
	for _, v := range p.Seen {
		seen += v
	}
	if p.Closed || p.Share <= 0 && seen == 0 {
		return draws
	}
	share := max(.02, min(.98, p.Share))
	logw := make([]float64, n)
	top := math.Inf(-1)
	for i := range n {
		N := draws.Path(i)[0]
		if N < seen {
			// Not a path that could have shown so many; kept only as a last
			// resort, as if it had had that many.
			logw[i] = -50 - (seen - N)
		} else {
			a, _ := math.Lgamma(N + 1)
			b, _ := math.Lgamma(N - seen + 1)
			logw[i] = a - b + (N-seen)*math.Log1p(-share)
			a, _ = math.Lgamma(seen + 1)
			logw[i] += seen*math.Log(share) - a
		}
		top = max(top, logw[i])
	}
	sum := 0.0
	for i, v := range logw {
		logw[i] = math.Exp(v - top)
		sum += logw[i]
	}
	out := forecast.NewPaths(draws.Start, draws.Step, weeks, n)
	at, i := rng.Float64()*sum/float64(n), 0
	reach := logw[0]
	for j := range n {
		for reach < at && i < n-1 {
			i++
			reach += logw[i]
		}
		copy(out.Path(j), draws.Path(i))
		out.Path(j)[0] = max(seen, out.Path(j)[0])
		at += sum / float64(n)
	}
	return out
}
