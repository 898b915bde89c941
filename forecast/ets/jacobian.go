package ets

// stack is the number of Jacobian rows that are added to the normal equations
// at once.
const stack = 4

// pull holds how a step's mean (over the row's weight) and the state after it
// hang on the state before: on x, the sum of level and faded slope, and on g,
// the seasonal. The slope hangs on its faded self as well.
type pull struct {
	meanX, meanG, levelX, levelG, slopeX, slopeG, seasonX, seasonG float64
}

// normal fills grad and hess with J'r and J'J at x, over G squared. The last
// call of at must have been at x.
func (w *search) normal() {
	p := len(w.x)
	c := w.constants(w.x)
	relative, times := w.model.Error == Multiplicative, w.model.Season == Multiplicative
	w.derivativesAtStart()
	clear(w.grad)
	clear(w.share)
	clear(w.hess[:p*p])
	place, filled := 0, 0
	for t, v := range w.y {
		q, s, b, f := w.tr.base[t], w.tr.seasonal[t], w.tr.slope[t], w.tr.mean[t]
		row := w.rows[filled*p:][:p:p]
		ds := w.seasons[place*p:][:p:p]
		if place++; place == w.lag {
			place = 0
		}
		e := v - f
		if e != e {
			w.advance(row, ds, pull{1, 1, 1, 0, 0, 0, 0, 1}, c.phi, b)
			continue
		}
		// The level moves by u and the season by z: the error, over the
		// other one if they multiply.
		u, z := e, e
		fromX, fromG, us, zq := 1., 1., -1., -1.
		if times {
			u, z = e/s, e/q
			fromX, fromG, us, zq = s, q, -v/(s*s), -v/(q*q)
		}
		weight := -1.
		w.errors[filled], w.logs[filled] = e, 0
		if relative {
			weight = -v / (f * f)
			w.errors[filled], w.logs[filled] = e/f, -f/v
		}
		w.advance(row, ds, pull{weight * fromX, weight * fromG, 1 - c.alpha, c.alpha * us,
			-c.beta, c.beta * us, c.gamma * zq, 1 - c.gamma}, c.phi, b)
		alpha := w.states
		w.level[alpha] += u
		if i := w.beta; i >= 0 {
			w.slope[alpha] += w.x[i] * u
			w.slope[i] += (c.alpha - edge) * u
		}
		if i := w.gamma; i >= 0 {
			ds[alpha] -= w.x[i] * z
			ds[i] += (1 - c.alpha - edge) * z
		}
		if filled++; filled == stack {
			w.add(filled)
			filled = 0
		}
	}
	w.add(filled)
	if relative { // G hangs on x too
		n, ss := float64(w.fall.n), w.fall.squares
		grad, share := w.grad, w.share
		for i := range share {
			share[i] /= n
		}
		for i := range p {
			for j := range i + 1 {
				w.hess[i*p+j] += grad[i]*share[j] + share[i]*grad[j] + ss*share[i]*share[j]
			}
		}
		for i := range p {
			grad[i] += ss * share[i]
		}
	}
}

// derivativesAtStart sets the derivatives of the starting state by x.
func (w *search) derivativesAtStart() {
	p := len(w.x)
	clear(w.level)
	clear(w.slope)
	clear(w.seasons[:w.lag*p])
	w.level[0] = 1
	i := 1
	if w.beta >= 0 {
		w.slope[1] = 1
		i = 2
	}
	for place := range w.states - i {
		w.seasons[place*p+i+place] = 1
	}
}

// advance takes the derivatives of the state one step on, but for the share
// that the constants have themselves, and writes the Jacobian's row. ds is
// the derivatives of the seasonal in use, b the slope before the step.
func (w *search) advance(row, ds []float64, k pull, phi, b float64) {
	dl, db, ds := w.level[:len(row)], w.slope[:len(row)], ds[:len(row)]
	for i := range row {
		faded, g := phi*db[i], ds[i]
		x := dl[i] + faded
		row[i] = k.meanX*x + k.meanG*g
		dl[i] = k.levelX*x + k.levelG*g
		db[i] = k.slopeX*x + k.slopeG*g + faded
		ds[i] = k.seasonX*x + k.seasonG*g
	}
	if i := w.phi; i >= 0 {
		row[i] += k.meanX * b
		dl[i] += k.levelX * b
		db[i] += k.slopeX*b + b
		ds[i] += k.seasonX * b
	}
}

// add adds the first n stacked rows to hess, grad and share.
func (w *search) add(n int) {
	p := len(w.x)
	clear(w.rows[n*p : stack*p])
	a, b, c, d := w.rows[:p], w.rows[p:2*p], w.rows[2*p:3*p], w.rows[3*p:4*p]
	e, l := &w.errors, &w.logs
	grad, share := w.grad[:p], w.share[:p]
	for i := range p {
		grad[i] += a[i]*e[0] + b[i]*e[1] + c[i]*e[2] + d[i]*e[3]
		share[i] += a[i]*l[0] + b[i]*l[1] + c[i]*l[2] + d[i]*l[3]
	}
	// Two rows of hess at a time; the spare corner lies in the upper triangle.
	for i := 0; i+1 < p; i += 2 {
		ai, bi, ci, di := a[i], b[i], c[i], d[i]
		ak, bk, ck, dk := a[i+1], b[i+1], c[i+1], d[i+1]
		h := w.hess[i*p:][:i+2]
		k := w.hess[(i+1)*p:][:len(h)]
		a, b, c, d := a[:len(h)], b[:len(h)], c[:len(h)], d[:len(h)]
		for j := range h {
			aj, bj, cj, dj := a[j], b[j], c[j], d[j]
			h[j] += ai*aj + bi*bj + ci*cj + di*dj
			k[j] += ak*aj + bk*bj + ck*cj + dk*dj
		}
	}
	if i := p - 1; p%2 == 1 {
		h := w.hess[i*p:][:p]
		for j := range h {
			h[j] += a[i]*a[j] + b[i]*b[j] + c[i]*c[j] + d[i]*d[j]
		}
	}
}
