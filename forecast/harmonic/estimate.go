package harmonic

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"freshet/forecast/regress"
)

// candidate is one way to fit: so many harmonics, and errors of this order.
type candidate struct {
	harmonics, order int
	partials         partials
	score            float64 // AICc
	logLik           float64
}

// search holds what the candidates share.
type search struct {
	d        *design
	y        []float64 // NaN where not seen
	n        int       // values seen
	floor    float64   // sum of squares that is nothing but rounding
	solver   *regress.Solver
	x        *mat.Dense // whitened columns, then the rows of the ridge
	whiteY   []float64
	weights  []float64
	nested   []float64
	coef     []float64
	residual []float64
	state    []partials // of each column
	filter   filter     // after the last step
	logs     float64    // log variances of the surprises
}

// estimate finds, among the numbers of harmonics of d and the orders from
// least to most, the fit with the least AICc. For each order it alternates
// between the coefficients, harmonics included, given the autoregression, and
// the autoregression given the coefficients: neither step can make the exact
// likelihood worse (Oberhofer and Kmenta 1974).
func estimate(y []float64, d *design, least, most int) (*fit, error) {
	s := newSearch(y, d)
	best := candidate{score: math.Inf(1)}
	var start partials
	for order := least; order <= most; order++ {
		c, err := s.alternate(order, start)
		if err != nil {
			return nil, err
		}
		if c.score < best.score {
			best = c
		}
		start = c.partials
	}
	if err := s.whiten(best.partials, best.order); err != nil {
		return nil, err
	}
	if err := s.solver.Solve(d.cols(best.harmonics)); err != nil {
		return nil, err
	}
	return s.finish(best), nil
}

func newSearch(y []float64, d *design) *search {
	n, cols := d.x.Dims()
	rows := n
	if d.ridge > 0 {
		rows += 2 * d.most
	}
	s := &search{d: d, y: y,
		x: mat.NewDense(rows, cols, nil), whiteY: make([]float64, rows), weights: make([]float64, rows),
		nested: make([]float64, cols+1), coef: make([]float64, cols), residual: make([]float64, n),
		state: make([]partials, cols+1), solver: regress.NewSolver(rows, cols)}
	largest := 0.0
	for _, v := range y {
		if !math.IsNaN(v) {
			s.n++
			largest = max(largest, math.Abs(v))
		}
	}
	s.floor = float64(s.n) * max(1e-24*largest*largest, math.SmallestNonzeroFloat64)
	// So many more steps with a flat season would add half their number to a
	// harmonic's sum of squares, as a sine's square averages a half.
	for i := n; i < rows; i++ {
		s.x.Set(i, cols-rows+i, math.Sqrt(d.ridge/2))
		s.weights[i] = 1
	}
	return s
}

// alternate fits with errors of this order, from start.
func (s *search) alternate(order int, start partials) (candidate, error) {
	const (
		rounds = 30
		enough = 1e-5 // AICc still to be gained
	)
	best := candidate{order: order, partials: start, score: math.Inf(1)}
	p := start
	for range rounds {
		if err := s.whiten(p, order); err != nil {
			return best, err
		}
		c := s.choose(order)
		c.partials = p
		if !(best.score-c.score > enough) {
			break
		}
		best = c
		if order == 0 {
			break
		}
		if err := s.solver.Solve(s.d.cols(c.harmonics)); err != nil {
			return best, err
		}
		if s.solver.RSS() <= s.floor {
			break
		}
		s.residuals(s.solver.Coef(s.coef)[:s.d.cols(c.harmonics)])
		p = autoregress(s.residual, p, order, s.n)
	}
	return best, nil
}

// whiten turns y and the columns into their surprises, by the filter of the
// autoregression, and factors them.
func (s *search) whiten(p partials, order int) error {
	f := newFilter(p, order)
	clear(s.state)
	s.logs = 0
	_, cols := s.x.Dims()
	for i, y := range s.y {
		seen := !math.IsNaN(y)
		var gain partials
		root := 1.0
		s.weights[i], s.whiteY[i] = 0, 0
		if seen {
			var v float64
			gain, v = f.see()
			root = 1 / math.Sqrt(v)
			s.logs += math.Log(v)
			s.weights[i] = 1
			s.whiteY[i] = f.take(&s.state[cols], y, &gain) * root
		}
		to, from := s.x.RawRowView(i), s.d.x.RawRowView(i)
		for j := range to {
			if seen {
				to[j] = f.take(&s.state[j], from[j], &gain) * root
			}
		}
		for j := range s.state {
			f.next(&s.state[j])
		}
		f.advance(seen)
	}
	s.filter = f
	return s.solver.Factor(s.x, s.whiteY, s.weights)
}

// choose gives the number of harmonics with the least AICc, from the one
// factorization.
func (s *search) choose(order int) candidate {
	s.solver.Nested(s.nested)
	best := candidate{order: order, harmonics: s.d.least, score: math.Inf(1)}
	rank := s.solver.Rank()
	n := float64(s.n)
	for k := s.d.least; k <= s.d.most; k++ {
		q := s.d.cols(k)
		if q > rank && k > s.d.least {
			break
		}
		deviance := n*math.Log(max(s.nested[q], s.floor)/n) + s.logs
		p := float64(q + order + 1)
		if n-p-1 <= 0 {
			break
		}
		if score := deviance + 2*p + 2*p*(p+1)/(n-p-1); score < best.score {
			best.harmonics, best.score, best.logLik = k, score, -deviance/2
		}
	}
	return best
}

// residuals fills in what the coefficients leave of y.
func (s *search) residuals(coef []float64) {
	for i, y := range s.y {
		for j, b := range coef {
			y -= b * s.d.x.At(i, j)
		}
		s.residual[i] = y
	}
}

// autoregress improves the partial autocorrelations of e, one after another:
// they are all but orthogonal, so that two rounds do.
func autoregress(e []float64, p partials, order, n int) partials {
	const (
		bound = .98 // a root nearer to 1 would take the level's place
		tol   = 1e-4
	)
	for range min(order, 2) {
		for k := range order {
			p[k], _ = regress.Minimize(func(v float64) float64 {
				q := p
				q[k] = v
				squares, logs := likelihood(e, q, order)
				return float64(n)*math.Log(squares/float64(n)) + logs
			}, -bound, bound, tol)
		}
	}
	return p
}
