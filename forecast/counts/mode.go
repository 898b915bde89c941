package counts

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is one series with its regression, and the workspace in which the
// posterior's mode is found. Nothing is allocated after newProblem.
type problem struct {
	n, p   int
	k      int       // harmonic pairs; columns 2 to 2+2k
	x      []float64 // n by p, row by row
	offset []float64
	y      []float64 // NaN: not observed
	fixed  []float64 // prior precisions of the columns that aren't harmonics, 0 for those

	beta, u, eta []float64 // the mode
	betaFrom     []float64 // where a Newton step started
	uFrom        []float64
	w, g         []float64 // weights (observed information) and scores at eta
	d, l         []float64 // factor of the tridiagonal block: pivots, multipliers
	v            []float64 // n by p+1: the block's inverse times weights times [x z]
	s            *mat.SymDense
	rhs, sol     *mat.VecDense
	chol         mat.Cholesky
	lgammaY      float64   // sum of ln y!
	counts       []float64 // the observed y, for the size's terms
}

func newProblem(n, p, k int) *problem {
	floats := func(m int) []float64 { return make([]float64, m) }
	return &problem{n: n, p: p, k: k, x: floats(n * p), offset: floats(n), y: floats(n), fixed: floats(p),
		beta: floats(p), betaFrom: floats(p), u: floats(n), uFrom: floats(n), eta: floats(n), w: floats(n), g: floats(n), d: floats(n), l: floats(n),
		v: floats(n * (p + 1)), s: mat.NewSymDense(p, nil), rhs: mat.NewVecDense(p, nil), sol: mat.NewVecDense(p, nil)}
}

// precision gives the prior precision of column j under scales c.
func (q *problem) precision(j int, c scales) float64 {
	if q.fixed[j] > 0 {
		return q.fixed[j]
	}
	// The k-th harmonic's coefficients shrink as 1/k: a season is smooth.
	k := float64((j-2)/2 + 1)
	return k * k / (c.season * c.season)
}

// logLik gives the log-likelihood of the observed counts at eta, and fills w
// and g with its curvature and slope.
func (q *problem) logLik(size float64) float64 {
	sum := -q.lgammaY
	for t, y := range q.y {
		if math.IsNaN(y) {
			q.w[t], q.g[t] = 0, 0
			continue
		}
		mu := math.Exp(q.eta[t])
		over := 1 + mu/size
		q.w[t] = mu * (1 + y/size) / (over * over)
		q.g[t] = (y - mu) / over
		sum += y*q.eta[t] - (y+size)*math.Log1p(mu/size)
	}
	return sum + sizeTerms(q.counts, size)
}

// sizeTerms gives the sum of ln Γ(y+size)/(Γ(size) size^y).
func sizeTerms(counts []float64, size float64) float64 {
	if size > 1e7 {
		return 0
	}
	base, _ := math.Lgamma(size)
	logSize := math.Log(size)
	sum := 0.0
	for _, y := range counts {
		if y > 0 {
			a, _ := math.Lgamma(y + size)
			sum += a - base - y*logSize
		}
	}
	return sum
}

// penalty gives the log prior of beta and u, with its normalising constants.
func (q *problem) penalty(c scales) float64 {
	sum := 0.0
	for j, b := range q.beta {
		pr := q.precision(j, c)
		sum += (math.Log(pr) - pr*b*b) / 2
	}
	noise := c.sigma * c.sigma * (1 - c.rho*c.rho)
	ss := q.u[0] * q.u[0] * (1 - c.rho*c.rho)
	for t := 1; t < q.n; t++ {
		e := q.u[t] - c.rho*q.u[t-1]
		ss += e * e
	}
	return sum + (math.Log(1-c.rho*c.rho)-float64(q.n)*math.Log(noise)-ss/noise)/2
}

// mode finds the posterior's mode under scales c from where the last one was,
// and gives the Laplace approximation of the log marginal likelihood, less a
// constant. It gives -Inf where the algebra breaks down.
func (q *problem) mode(c scales) float64 {
	value := q.logLik(c.size) + q.penalty(c)
	for range 40 {
		if !q.solve(c) {
			return math.Inf(-1)
		}
		copy(q.betaFrom, q.beta)
		copy(q.uFrom, q.u)
		moved, next := 0.0, value
		for step := 1.0; step > 1e-4; step /= 2 {
			moved = q.move(step)
			next = q.logLik(c.size) + q.penalty(c)
			if next >= value-1e-9*math.Abs(value) {
				break
			}
		}
		value = next
		if moved < 1e-6 {
			break
		}
	}
	if !q.solve(c) { // the factors at the mode itself
		return math.Inf(-1)
	}
	logDet := q.chol.LogDet()
	for _, d := range q.d {
		logDet += math.Log(d)
	}
	if r := value - logDet/2; !math.IsNaN(r) {
		return r
	}
	return math.Inf(-1)
}

// solve factors the Newton system at eta and leaves in sol the coefficients
// and in v what move needs. With T the tridiagonal block (weights plus the
// level's precision) and S its Schur complement:
//
//	S beta = x'(wz) - (wx)' T⁻¹ (wz),  u = T⁻¹(wz) - T⁻¹(wx) beta,  wz = w(eta-offset) + g
func (q *problem) solve(c scales) bool {
	n, p, m := q.n, q.p, q.p+1
	inv := 1 / (c.sigma * c.sigma * (1 - c.rho*c.rho))
	off := -c.rho * inv
	for t := range n {
		diag := (1 + c.rho*c.rho) * inv
		if t == 0 || t == n-1 {
			diag = inv
		}
		if n == 1 {
			diag = (1 - c.rho*c.rho) * inv
		}
		q.d[t] = diag + q.w[t]
		row, x := q.v[t*m:(t+1)*m], q.x[t*p:(t+1)*p]
		for j, xj := range x {
			row[j] = q.w[t] * xj
		}
		row[p] = q.w[t]*(q.eta[t]-q.offset[t]) + q.g[t]
		if t > 0 {
			q.l[t] = off / q.d[t-1]
			q.d[t] -= q.l[t] * off
			prev := q.v[(t-1)*m : t*m]
			for j := range row {
				row[j] -= q.l[t] * prev[j]
			}
		}
		if !(q.d[t] > 0) {
			return false
		}
	}
	for t := n - 1; t >= 0; t-- {
		row := q.v[t*m : (t+1)*m]
		if t == n-1 {
			for j := range row {
				row[j] /= q.d[t]
			}
			continue
		}
		next := q.v[(t+1)*m : (t+2)*m]
		for j := range row {
			row[j] = row[j]/q.d[t] - q.l[t+1]*next[j]
		}
	}
	raw := q.s.RawSymmetric()
	rhs := q.rhs.RawVector().Data
	for i := range p {
		clear(raw.Data[i*raw.Stride : i*raw.Stride+p])
		raw.Data[i*raw.Stride+i] = q.precision(i, c)
		rhs[i] = 0
	}
	for t := range n {
		w := q.w[t]
		if w == 0 && q.g[t] == 0 {
			continue
		}
		x, row := q.x[t*p:(t+1)*p], q.v[t*m:(t+1)*m]
		wz := w*(q.eta[t]-q.offset[t]) + q.g[t]
		for i, xi := range x {
			if xi == 0 {
				continue
			}
			a := w * xi
			dst := raw.Data[i*raw.Stride : i*raw.Stride+p]
			for j := i; j < p; j++ {
				dst[j] += a * (x[j] - row[j])
			}
			rhs[i] += xi*wz - a*row[p]
		}
	}
	if !q.chol.Factorize(q.s) {
		return false
	}
	return q.chol.SolveVecTo(q.sol, q.rhs) == nil
}

// move goes the given share of the way from the point where solve was called
// to the one it found, and gives the greatest change of eta.
func (q *problem) move(step float64) float64 {
	m := q.p + 1
	sol := q.sol.RawVector().Data
	for j := range q.beta {
		q.beta[j] = q.betaFrom[j] + step*(sol[j]-q.betaFrom[j])
	}
	moved := 0.0
	for t := range q.n {
		row := q.v[t*m : (t+1)*m]
		u := row[q.p]
		for j, b := range sol {
			u -= row[j] * b
		}
		q.u[t] = q.uFrom[t] + step*(u-q.uFrom[t])
		eta := q.offset[t] + q.u[t]
		for j, b := range q.beta {
			eta += q.x[t*q.p+j] * b
		}
		eta = max(-30, min(eta, 35)) // far outside any count, within exp's range
		moved = max(moved, math.Abs(eta-q.eta[t]))
		q.eta[t] = eta
	}
	return moved
}
