package combine

import (
	"cmp"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// pooled is the mixture of several distributions, each by its midpoints with
// its share of the weight.
type pooled struct {
	values []float64 // rising
	upTo   []float64 // total weight of the values up to each
	mean   float64
}

func (d pooled) Mean() float64 { return d.mean }

// Quantile gives the least value with a share of at least p at or below it.
func (d pooled) Quantile(p float64) float64 {
	// Weights are summed with rounding errors, and may miss p = 1.
	const rounding = 1e-12
	i := sort.SearchFloat64s(d.upTo, p-rounding)
	return d.values[min(i, len(d.values)-1)]
}

// pool mixes the members' distributions of one step.
func (f *averageFit) pool(dists []forecast.Dist, m *midpoints) pooled {
	type point struct{ value, weight float64 }
	points := make([]point, 0, perMember*len(dists))
	out := pooled{}
	for i, d := range dists {
		w := f.members[i].weight
		for _, v := range m.of(d) {
			points = append(points, point{v, w / perMember})
		}
		if f.trim == 0 {
			out.mean += w * d.Mean()
		}
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(a.value, b.value) })
	out.values, out.upTo = make([]float64, len(points)), make([]float64, len(points))
	sum, middle := 0.0, 0.0
	for i, p := range points {
		// What of the point's weight lies between trim and 1-trim.
		middle += p.value * max(0, min(sum+p.weight, 1-f.trim)-max(sum, f.trim))
		sum += p.weight
		out.values[i], out.upTo[i] = p.value, sum
	}
	if f.trim > 0 {
		out.mean = middle / (1 - 2*f.trim)
	}
	return out
}

// averaged is a distribution by its quantiles at the midpoints.
type averaged struct {
	midpoints [perMember]float64
	mean      float64
}

func (d *averaged) Mean() float64 { return d.mean }

// Quantile goes straight from one midpoint to the next.
func (d *averaged) Quantile(p float64) float64 {
	at := max(0, min(perMember-1, p*perMember-.5))
	k := min(int(at), perMember-2)
	low, high := d.midpoints[k], d.midpoints[k+1]
	return low + (at-float64(k))*(high-low)
}

// between averages the quantiles of the members' distributions of one step.
func (f *averageFit) between(dists []forecast.Dist, m *midpoints) *averaged {
	out := &averaged{}
	for i, d := range dists {
		w := f.members[i].weight
		for k, v := range m.of(d) {
			out.midpoints[k] += w * v
		}
		out.mean += w * d.Mean()
	}
	return out
}

const perMember = 100

// shares are those of the midpoints.
var shares = func() (p [perMember]float64) {
	for k := range p {
		p[k] = (float64(k) + .5) / perMember
	}
	return p
}()

// midpoints makes the quantiles of distributions at shares. It remembers the
// standard ones, since those of Student's t take long.
type midpoints struct {
	normal  []float64
	student map[float64][]float64 // by degrees of freedom
	out     [perMember]float64
}

// of gives the midpoints of d, until the next call.
func (m *midpoints) of(d forecast.Dist) []float64 {
	out := m.out[:]
	switch d := d.(type) {
	case distuv.Normal:
		if m.normal == nil {
			m.normal = standard(distuv.UnitNormal)
		}
		for k, z := range m.normal {
			out[k] = d.Mu + d.Sigma*z
		}
	case distuv.StudentsT:
		scores, ok := m.student[d.Nu]
		if !ok {
			if m.student == nil {
				m.student = map[float64][]float64{}
			}
			scores = standard(distuv.StudentsT{Sigma: 1, Nu: d.Nu})
			m.student[d.Nu] = scores
		}
		for k, z := range scores {
			out[k] = d.Mu + d.Sigma*z
		}
	case backDist:
		m.of(d.of)
		for k, v := range out {
			out[k] = d.back(v)
		}
	case interface{ Quantiles(out, ps []float64) }: // faster than one by one
		d.Quantiles(out, shares[:])
	default:
		for k, p := range shares {
			out[k] = d.Quantile(p)
		}
	}
	return out
}

// standard gives the midpoints of a standard distribution.
func standard(d forecast.Dist) []float64 {
	out := make([]float64, perMember)
	for k, p := range shares {
		out[k] = d.Quantile(p)
	}
	return out
}
