package combine

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// Calibrated widens or narrows another model's ranges so that they would have
// held as often as they say on the series' own past: it is forecast again from
// up to Origins earlier steps, spread over what lies more than Least steps
// after its start, and the 80 and 95 % ranges are scaled about their medians
// towards where they would have held 80 and 95 % of what came (split conformal
// prediction of the distance over the range's own half-width: Lei, G'Sell,
// Rinaldo, Tibshirani and Wasserman 2018, Journal of the American Statistical
// Association 113, section 5.2). Ranges between and beyond are scaled likewise.
//
// Ranges with hardly a width (a month that is always closed) have no say, as
// they hold whatever the scale. Fewer than 60 values to check against leave the
// ranges as they are.
type Calibrated struct {
	Of      forecast.Model
	Origins int // 0 stands for 16
	Least   int // steps to learn from; 0 stands for ten seasons
	H       int // steps ahead to check; 0 stands for a season
}

func (m Calibrated) String() string { return m.Of.String() }

// Fit fits the other model, and returns its error.
func (m Calibrated) Fit(s forecast.Series) (forecast.Fit, error) {
	fit, err := m.Of.Fit(s)
	if err != nil {
		return nil, err
	}
	if m.Origins == 0 {
		m.Origins = 16
	}
	if m.Least == 0 {
		m.Least = 10 * s.Lag()
	}
	if m.H == 0 {
		m.H = s.Lag()
	}
	origins := forecast.Origins(s.Len(), m.Least, m.H, m.Origins)
	if len(origins) < 2 {
		return fit, nil
	}
	_, out, err := forecast.Backtest(m.Of, s, m.H, origins)
	if err != nil {
		return fit, nil // the whole history could be fitted, no part of it: nothing to check against
	}
	inner, outer := missBy(out, .1), missBy(out, .025)
	const least = 60 // so that three values lie outside of 95 %
	if min(len(inner), len(outer)) < least {
		return fit, nil
	}
	// The values of one origin miss together, so that the origins are what
	// counts as evidence; the model's own ranges weigh as much as 16 of them.
	// The outer one follows the past alone: a model's tails know no closures.
	trust := float64(len(origins)) / float64(len(origins)+16)
	f := &calibrated{Fit: fit, inner: math.Pow(conformal(inner, .8), trust), outer: conformal(outer, .95)}
	// A range may not lie inside a narrower one.
	f.outer = max(f.outer, f.inner)
	return f, nil
}

// missBy gives how far what came lay from the median, in distances from the
// median to the p or 1-p quantile on its side.
func missBy(out []forecast.Outcome, p float64) []float64 {
	const hardly = .05 // of the mean width
	least := 0.0
	for _, o := range out {
		least += hardly * (o.Dist.Quantile(1-p) - o.Dist.Quantile(p)) / float64(len(out))
	}
	var miss []float64
	for _, o := range out {
		low, middle, high := o.Dist.Quantile(p), o.Dist.Quantile(.5), o.Dist.Quantile(1-p)
		if high-low <= least {
			continue
		}
		d, width := o.Actual-middle, high-middle
		if d < 0 {
			d, width = -d, middle-low
		}
		if d > 0 { // else it is no miss, even of a range without a width
			d /= width // an infinite one is a miss whatever the scale
		}
		miss = append(miss, d)
	}
	return miss
}

// conformal gives the factor within which at least a share of the misses lie,
// with the one to come: the value of rank (n+1)*share. It is held to a factor
// of 3 either way.
func conformal(miss []float64, share float64) float64 {
	slices.Sort(miss)
	rank := int(math.Ceil(float64(len(miss)+1) * share))
	return max(1./3, min(3, miss[min(rank, len(miss))-1]))
}

type calibrated struct {
	forecast.Fit
	inner, outer float64 // factors of the 80 % range and those inside it, and of the 95 % range and those beyond
}

// Parameters gives those of the other model, if it can tell them.
func (f *calibrated) Parameters() map[string]float64 { return parameters(f.Fit) }

var (
	scoreInner = distuv.UnitNormal.Quantile(.9)
	scoreOuter = distuv.UnitNormal.Quantile(.975)
)

// factor gives the scale at the p quantile: in between it goes with the normal
// score.
func (f *calibrated) factor(p float64) float64 {
	if p <= 0 || p >= 1 {
		return f.outer
	}
	z := math.Abs(distuv.UnitNormal.Quantile(p))
	along := (z - scoreInner) / (scoreOuter - scoreInner)
	return f.inner + (f.outer-f.inner)*max(0, min(1, along))
}

func (f *calibrated) Forecast(h int) forecast.Forecast {
	out := f.Fit.Forecast(h)
	dists := make([]forecast.Dist, h)
	for j, d := range out.Dists {
		dists[j] = calibratedDist{d, f, d.Quantile(.5)}
	}
	out.Dists = dists
	return out
}

// Simulate scales each step's draws about their median, each by its rank.
func (f *calibrated) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	p := f.Fit.Simulate(h, n, rng)
	factors := make([]float64, n)
	for k := range factors {
		factors[k] = f.factor((float64(k) + .5) / float64(n))
	}
	order := make([]int, n)
	for j := range h {
		for i := range order {
			order[i] = i
		}
		slices.SortFunc(order, func(a, b int) int {
			return cmp.Compare(p.Values[a*h+j], p.Values[b*h+j])
		})
		middle := (p.Values[order[(n-1)/2]*h+j] + p.Values[order[n/2]*h+j]) / 2
		for k, i := range order {
			v := &p.Values[i*h+j]
			*v = middle + factors[k]*(*v-middle)
		}
	}
	return p
}

type calibratedDist struct {
	of     forecast.Dist
	by     *calibrated
	middle float64
}

// Mean is the other one's: it is the ranges that are calibrated.
func (d calibratedDist) Mean() float64 { return d.of.Mean() }

func (d calibratedDist) Quantile(p float64) float64 {
	return d.middle + d.by.factor(p)*(d.of.Quantile(p)-d.middle)
}
