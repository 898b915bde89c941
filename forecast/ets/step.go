package ets

import "math"

// solve sets step to the minimum of the quadratic model with Marquardt's
// damping, the constants kept in their box, and gives the fall of the sum of
// squares that the undamped model promises, or false if it promises none.
func (w *search) solve(damping float64) (float64, bool) {
	p := len(w.x)
	fixed := [4]bool{}
	clear(w.step)
	for k := range p - w.states {
		i := w.states + k
		fixed[k] = w.x[i] <= w.lo[k] && w.grad[i] > 0 || w.x[i] >= w.hi[k] && w.grad[i] < 0
	}
	largest := 0.
	for i := range p {
		largest = max(largest, w.hess[i*p+i])
	}
	for again := true; again; {
		again = false
		free := w.index[:0]
		for i := range p {
			if i < w.states || !fixed[i-w.states] {
				free = append(free, i)
			}
		}
		n := len(free)
		for r, i := range free {
			row := w.chol[r*p : r*p+n]
			for s, j := range free[:r+1] {
				row[s] = w.hess[i*p+j]
			}
			row[r] += damping*row[r] + 1e-14*largest
			rhs := -w.grad[i]
			for k := range p - w.states {
				if j := w.states + k; fixed[k] {
					rhs -= w.hess[max(i, j)*p+min(i, j)] * w.step[j]
				}
			}
			w.trial[r] = rhs
		}
		if !cholesky(w.chol, p, w.trial[:n]) {
			return 0, false
		}
		for r, i := range free {
			w.step[i] = w.trial[r]
		}
		// The constant that leaves the box first stops at its edge.
		first, part := -1, 1.
		for k := range p - w.states {
			i := w.states + k
			if fixed[k] {
				continue
			}
			room := max(w.lo[k]-w.x[i], min(w.hi[k]-w.x[i], w.step[i]))
			if room != w.step[i] && room/w.step[i] < part {
				first, part = k, room/w.step[i]
			}
		}
		if first >= 0 {
			i := w.states + first
			w.step[i] = max(w.lo[first]-w.x[i], min(w.hi[first]-w.x[i], w.step[i]))
			fixed[first] = true
			again = true
		}
	}
	promise := 0.
	for i := range p {
		row := w.hess[i*p : i*p+i+1]
		sum := -row[i] * w.step[i] / 2
		for j, h := range row {
			sum += h * w.step[j]
		}
		promise -= w.step[i] * (2*w.grad[i] + 2*sum)
	}
	return promise, promise > 0
}

// cholesky solves a x = b in place of b, for the leading block of a, whose
// rows are p long and whose lower triangle it overwrites.
func cholesky(a []float64, p int, b []float64) bool {
	n := len(b)
	for i := range n {
		ri := a[i*p : i*p+i+1]
		for j := range i {
			rj := a[j*p : j*p+j+1]
			sum := ri[j]
			for k, v := range rj[:j] {
				sum -= ri[k] * v
			}
			ri[j] = sum * rj[j] // the diagonal holds reciprocals
		}
		sum := ri[i]
		for _, v := range ri[:i] {
			sum -= v * v
		}
		if !(sum > 0) {
			return false
		}
		ri[i] = 1 / math.Sqrt(sum)
		sum = b[i]
		for k, v := range ri[:i] {
			sum -= v * b[k]
		}
		b[i] = sum * ri[i]
	}
	for i := n - 1; i >= 0; i-- {
		sum := b[i]
		for k := i + 1; k < n; k++ {
			sum -= a[k*p+i] * b[k]
		}
		b[i] = sum * a[i*p+i]
	}
	return true
}
