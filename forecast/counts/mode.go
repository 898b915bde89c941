package counts

import "math"

// problem is one series with its regression, and the workspace in which the
// posterior's mode is found. Nothing is allocated after newProblem. What solve
// takes two steps at a time has an empty one more where n is odd.
type problem struct {
	n, p   int
	k      int       // harmonic pairs; columns 1 to 2k
	active int       // columns after these are empty, as those of years to come
	x      []float64 // n by p, row by row
	known  []float64 // by step: of the log mean, what isn't of the rows
	offset []float64 // besides, what is given of the coefficients
	y      []float64 // NaN: not observed
	fixed  []float64 // prior precisions of columns, 0 where a harmonic's follows from the scales
	usual  prior     // of the scales

	beta, u, eta []float64 // the mode
	betaFrom     []float64 // where a Newton step started
	uFrom        []float64
	betaTo, uTo  []float64 // and where it leads
	w, g         []float64 // weights (observed information) and scores at eta
	d, l         []float64 // factor of the tridiagonal block: pivots, multipliers
	z            []float64 // n by p+1: L⁻¹ times weights times [x z]
	chol         cholesky  // of the Schur complement
	lgammaY      float64   // sum of ln y!
	counts       []float64 // the observed y, for the size's terms
	size         float64   // the size that sizeTerms stands for
	sizeTerms    float64
}

func newProblem(n, p, k int) *problem {
	floats := func(m int) []float64 { return make([]float64, m) }
	even := n + n%2
	q := &problem{n: n, p: p, k: k, active: p, usual: loosely, x: floats(even * p), known: floats(n), offset: floats(even), y: floats(n), fixed: floats(p),
		beta: floats(p), betaFrom: floats(p), betaTo: floats(p), u: floats(n), uFrom: floats(n), uTo: floats(n),
		eta: floats(even), w: floats(even), g: floats(even), d: floats(even), l: floats(n),
		z: floats(even * (p + 1)), chol: cholesky{p, floats(p * p)}, counts: make([]float64, 0, n)}
	q.d[even-1] = 1
	return q
}

// precision gives the prior precision of column j under scales c.
func (q *problem) precision(j int, c scales) float64 {
	if q.fixed[j] > 0 {
		return q.fixed[j]
	}
	// The k-th harmonic's coefficients shrink as 1/k: a season is smooth.
	k := float64((j-1)/2 + 1)
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
		log := math.Log(over)
		if over < 1.001 { // where its digits are lost
			log = math.Log1p(mu / size)
		}
		sum += y*q.eta[t] - (y+size)*log
	}
	if size != q.size {
		q.size, q.sizeTerms = size, sizeTerms(q.counts, size)
	}
	return sum + q.sizeTerms
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

// How far eta may be from the mode, at most: while scales are sought, and for
// the fit itself. Newton's method squares the distance with each step.
const (
	near  = 1e-3
	exact = 1e-8
)

// mode finds the posterior's mode under scales c from where the last one was,
// to within the given distance, and gives the Laplace approximation of the log
// marginal likelihood, less a constant. It gives -Inf where the algebra breaks
// down.
func (q *problem) mode(c scales, within float64) float64 {
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
		if moved < within { // the factors are of a point as near as that
			break
		}
	}
	logDet := q.chol.logDet()
	for _, d := range q.d {
		logDet += math.Log(d)
	}
	if r := value - logDet/2; !math.IsNaN(r) {
		return r
	}
	return math.Inf(-1)
}

// solve factors the Newton system at eta and leaves in betaTo and uTo where it
// leads. With T = L D L' the tridiagonal block (weights plus the level's
// precision), Z = L⁻¹wx and S the Schur complement:
//
//	S = x'wx + prior - Z'D⁻¹Z,  S beta = x'(wz) - Z'D⁻¹L⁻¹(wz)
//	u = L'⁻¹D⁻¹(L⁻¹(wz) - Z beta),  wz = w(eta-offset) + g
func (q *problem) solve(c scales) bool {
	n, p, m, some := q.n, q.p, q.p+1, q.active
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
		row, x := q.z[t*m:(t+1)*m], q.x[t*p:][:some]
		w := q.w[t]
		wz := w*(q.eta[t]-q.offset[t]) + q.g[t]
		if t == 0 {
			for j, xj := range x {
				row[j] = w * xj
			}
			row[p] = wz
		} else {
			l := off / q.d[t-1]
			q.l[t] = l
			q.d[t] -= l * off
			prev := q.z[(t-1)*m : t*m]
			for j, xj := range x {
				row[j] = w*xj - l*prev[j]
			}
			row[p] = wz - l*prev[p]
		}
		if !(q.d[t] > 0) {
			return false
		}
	}
	s, rhs := q.chol.upper, q.betaTo
	clear(s)
	clear(rhs)
	for i := range p {
		s[i*p+i] = q.precision(i, c)
	}
	for t := 0; t < n; t += 2 {
		x0, x1 := q.x[t*p:(t+1)*p], q.x[(t+1)*p:(t+2)*p]
		z0, z1 := q.z[t*m:(t+1)*m], q.z[(t+1)*m:(t+2)*m]
		w0, w1, e0, e1 := q.w[t], q.w[t+1], 1/q.d[t], 1/q.d[t+1]
		wz0 := w0*(q.eta[t]-q.offset[t]) + q.g[t]
		wz1 := w1*(q.eta[t+1]-q.offset[t+1]) + q.g[t+1]
		for i := range some {
			a0, a1, b0, b1 := w0*x0[i], w1*x1[i], e0*z0[i], e1*z1[i]
			dst := s[i*p+i : i*p+some]
			xs0, xs1, zs0, zs1 := x0[i:][:len(dst)], x1[i:][:len(dst)], z0[i:][:len(dst)], z1[i:][:len(dst)]
			for j := range dst {
				dst[j] += a0*xs0[j] - b0*zs0[j] + (a1*xs1[j] - b1*zs1[j])
			}
			rhs[i] += x0[i]*wz0 - b0*z0[p] + (x1[i]*wz1 - b1*z1[p])
		}
	}
	if !q.chol.factor() {
		return false
	}
	q.chol.solveTransposed(rhs)
	q.chol.solve(rhs)
	for t := n - 1; t >= 0; t-- {
		z := q.z[t*m : (t+1)*m]
		u := z[p]
		for j, b := range rhs[:some] {
			u -= z[j] * b
		}
		u /= q.d[t]
		if t < n-1 {
			u -= q.l[t+1] * q.uTo[t+1]
		}
		q.uTo[t] = u
	}
	return true
}

// move goes the given share of the way from the point where solve was called
// to the one it found, and gives the greatest change of eta.
func (q *problem) move(step float64) float64 {
	for j := range q.beta {
		q.beta[j] = q.betaFrom[j] + step*(q.betaTo[j]-q.betaFrom[j])
	}
	for t := range q.n {
		q.u[t] = q.uFrom[t] + step*(q.uTo[t]-q.uFrom[t])
	}
	return q.again()
}

// again works eta out from the mode, and gives its greatest change.
func (q *problem) again() float64 {
	moved := 0.0
	for t := range q.n {
		eta := q.offset[t] + q.u[t]
		for j, x := range q.x[t*q.p:][:q.active] {
			eta += x * q.beta[j]
		}
		eta = max(-30, min(eta, 35)) // far outside any count, within exp's range
		moved = max(moved, math.Abs(eta-q.eta[t]))
		q.eta[t] = eta
	}
	return moved
}
