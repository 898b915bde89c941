package forecast

import "fmt"

// Paths holds joint futures: N paths of H steps. Values are laid path after
// path, so that a path is one slice of memory.
type Paths struct {
	Start  Date // first day of the first step
	Step   int  // days
	H      int
	Values []float64
}

// NewPaths gives n paths of h steps, all zero. It panics if h < 1 or n < 1.
func NewPaths(start Date, step, h, n int) Paths {
	if h < 1 || n < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 path of 1 step, have %d of %d", n, h))
	}
	return Paths{Start: start, Step: step, H: h, Values: make([]float64, n*h)}
}

// N gives the number of paths.
func (p Paths) N() int { return len(p.Values) / p.H }

// Path gives path i. It shares the values.
func (p Paths) Path(i int) []float64 { return p.Values[i*p.H : (i+1)*p.H : (i+1)*p.H] }

// Dist gives the distribution of step j over all paths.
func (p Paths) Dist(j int) Empirical {
	v := make([]float64, p.N())
	for i := range v {
		v[i] = p.Values[i*p.H+j]
	}
	return NewEmpirical(v)
}

// Forecast gives the distribution of each step over all paths.
func (p Paths) Forecast() Forecast {
	f := Forecast{Start: p.Start, Step: p.Step, Dists: make([]Dist, p.H)}
	for j := range f.Dists {
		f.Dists[j] = p.Dist(j)
	}
	return f
}

// Add adds q to p, value by value. It panics if their shapes differ.
func (p Paths) Add(q Paths) {
	if p.H != q.H || len(p.Values) != len(q.Values) {
		panic(fmt.Sprintf("forecast: need %d paths of %d steps, have %d of %d", p.N(), p.H, q.N(), q.H))
	}
	for i, v := range q.Values {
		p.Values[i] += v
	}
}
