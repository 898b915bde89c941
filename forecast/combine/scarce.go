package combine

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// scarce is for a handful of values: their mean, with a variance as if one
// more value had missed it by the mean's own size. Counts are negative
// binomial. Common sense, no source.
type scarce struct{ counts bool }

func (scarce) String() string { return "mean of a few values" }

func (m scarce) Fit(s forecast.Series) (forecast.Fit, error) {
	f := &scarceFit{start: s.End(), step: s.Step, fitted: make([]float64, s.Len())}
	squares := 0.0
	for t, v := range s.Values {
		f.fitted[t] = math.NaN()
		if f.n > 0 {
			f.fitted[t] = f.mean
		}
		if !math.IsNaN(v) {
			f.n++
			d := v - f.mean
			f.mean += d / f.n
			squares += d * (v - f.mean)
		}
	}
	f.sd = math.Sqrt((f.mean*f.mean + squares) / f.n)
	variance := f.sd * f.sd * (1 + 1/f.n)
	switch {
	case variance == 0:
		f.dist = forecast.Point(f.mean)
	case m.counts:
		f.counts = true
		d := forecast.NegBin{Mu: f.mean, Size: math.Inf(1)}
		if variance > f.mean {
			d.Size = f.mean * f.mean / (variance - f.mean)
		}
		f.dist = d
	default:
		f.dist = distuv.Normal{Mu: f.mean, Sigma: math.Sqrt(variance)}
	}
	return f, nil
}

type scarceFit struct {
	start       forecast.Date
	step        int
	n, mean, sd float64
	counts      bool
	dist        forecast.Dist
	fitted      []float64
}

func (f *scarceFit) Fitted() []float64 { return append([]float64(nil), f.fitted...) }

func (f *scarceFit) Forecast(h int) forecast.Forecast {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step ahead, have %d", h))
	}
	out := forecast.Forecast{Start: f.start, Step: f.step, Dists: make([]forecast.Dist, h)}
	for j := range out.Dists {
		out.Dists[j] = f.dist
	}
	return out
}

// Simulate draws the mean once a path, except for counts, whose steps are
// independent.
func (f *scarceFit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := forecast.NewPaths(f.start, f.step, h, n)
	for i := range n {
		path := p.Path(i)
		mean := f.mean + f.sd/math.Sqrt(f.n)*rng.NormFloat64()
		for j := range path {
			if f.counts {
				path[j] = f.dist.Quantile(rng.Float64())
			} else {
				path[j] = mean + f.sd*rng.NormFloat64()
			}
		}
	}
	return p
}
