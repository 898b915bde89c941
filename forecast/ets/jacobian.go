package ets

// stack is the number of Jacobian rows that are added to the normal equations
// at once.
const stack = 4

// normal fills grad and hess with J'r and J'J at x, over G squared. The last
// call of at must have been at x.
func (w *search) normal() {
	p := len(w.x)
	c := w.constants(w.x)
	relative, times := w.model.Error == Multiplicative, w.model.Season == Multiplicative
	clear(w.grad)
	clear(w.share)
	clear(w.hess[:p*p])
	dl, db, share, grad := w.level, w.slope[:p], w.share[:p], w.grad[:p]
	clear(dl)
	clear(db)
	ds := w.seasons[:w.lag*p]
	clear(ds)
	dl[0] = 1
	if w.beta >= 0 {
		db[1] = 1
	}
	if w.gamma >= 0 {
		first := w.states - (w.lag - 1)
		for j := range w.lag - 1 {
			ds[j*p+first+j] = 1
		}
	}
	alpha := w.states
	shareBeta, shareGamma := 0., 0.
	if w.beta >= 0 {
		shareBeta = w.x[w.beta]
	}
	if w.gamma >= 0 {
		shareGamma = w.x[w.gamma]
	}
	dl = dl[:p]

	place, filled := 0, 0
	for t, v := range w.y {
		q, s, b, f := w.tr.base[t], w.tr.seasonal[t], w.tr.slope[t], w.tr.mean[t]
		// df = fq dq + fs ds; du = uq dq + us ds for the error that moves the
		// level, dv alike for the season's.
		fq, fs, uq, us, vq, vs := 1., 1., -1., -1., -1., -1.
		e := v - f
		u, z := e, e
		k := c
		seen := e == e
		if times {
			u, z = e/s, e/q
			fq, fs, us, vq = s, q, -v/(s*s), -v/(q*q)
		}
		if !seen {
			u, z = 0, 0
			us, vq = 0, 0
			k.alpha, k.beta, k.gamma = 0, 0, 0
		}
		weight := -1.
		if relative {
			weight = -v / (f * f)
		}
		row := w.rows[filled*p : (filled+1)*p : (filled+1)*p]
		share, grad, dl, db := share[:len(row)], grad[:len(row)], dl[:len(row)], db[:len(row)]
		dsr := ds[place*p : (place+1)*p][:len(row)]
		for i := range row {
			x, g := dl[i]+k.phi*db[i], dsr[i]
			du := uq*x + us*g
			row[i] = fq*x + fs*g
			dl[i] = x + k.alpha*du
			db[i] = k.phi*db[i] + k.beta*du
			dsr[i] = g + k.gamma*(vq*x+vs*g)
		}
		if i := w.phi; i >= 0 {
			row[i] += fq * b
			dl[i] += (1 + k.alpha*uq) * b
			db[i] += (1 + k.beta*uq) * b
			dsr[i] += k.gamma * vq * b
		}
		dl[alpha] += u
		if i := w.beta; i >= 0 {
			db[alpha] += shareBeta * u
			db[i] += (c.alpha - edge) * u
		}
		if i := w.gamma; i >= 0 {
			dsr[alpha] -= shareGamma * z
			dsr[i] += (1 - c.alpha - edge) * z
		}
		if place++; place == w.lag {
			place = 0
		}
		if !seen {
			continue
		}
		r, inverse := e, 0.
		if relative {
			inverse = 1 / f
			r = e * inverse
		}
		for i, d := range row {
			share[i] += d * inverse
			d *= weight
			row[i] = d
			grad[i] += d * r
		}
		if filled++; filled == stack {
			w.add(p)
			filled = 0
		}
	}
	clear(w.rows[filled*p : stack*p])
	w.add(p)
	if relative { // G depends on x too
		n, ss := float64(w.fall.n), w.fall.squares
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

// add adds the stacked rows' squares to hess.
func (w *search) add(p int) {
	a, b, c, d := w.rows[:p], w.rows[p:2*p], w.rows[2*p:3*p], w.rows[3*p:4*p]
	for i := range p {
		ai, bi, ci, di := a[i], b[i], c[i], d[i]
		h := w.hess[i*p : i*p+i+1]
		a, b, c, d := a[:len(h)], b[:len(h)], c[:len(h)], d[:len(h)]
		for j := range h {
			h[j] += ai*a[j] + bi*b[j] + ci*c[j] + di*d[j]
		}
	}
}
