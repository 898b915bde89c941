package regress

import "math"

// Minimize finds a local minimum of f between lo and hi, to within tol in x,
// by Brent's method of golden sections and parabolas (Brent 1973, chapter 5;
// from memory). It is for the one constant of a problem that is linear in all
// others. An f that is nowhere finite gives some point between lo and hi.
func Minimize(f func(float64) float64, lo, hi, tol float64) (x, fx float64) {
	golden := (3 - math.Sqrt(5)) / 2
	x = lo + golden*(hi-lo)
	fx = f(x)
	w, v, fw, fv := x, x, fx, fx // second best, and the one before it
	var step, before float64
	for range 200 {
		mid := (lo + hi) / 2
		tol := tol/3 + 1e-12*math.Abs(x)
		if math.Abs(x-mid) <= 2*tol-(hi-lo)/2 {
			break
		}
		parabola := false
		if math.Abs(before) > tol {
			r := (x - w) * (fx - fv)
			q := (x - v) * (fx - fw)
			p := (x-v)*q - (x-w)*r
			q = 2 * (q - r)
			if q > 0 {
				p = -p
			}
			q = math.Abs(q)
			if math.Abs(p) < math.Abs(q*before/2) && p > q*(lo-x) && p < q*(hi-x) {
				parabola = true
				before, step = step, p/q
				if u := x + step; u-lo < 2*tol || hi-u < 2*tol {
					step = math.Copysign(tol, mid-x)
				}
			}
		}
		if !parabola {
			before = hi - x
			if x >= mid {
				before = lo - x
			}
			step = golden * before
		}
		u := x + step
		if math.Abs(step) < tol {
			u = x + math.Copysign(tol, step)
		}
		fu := f(u)
		if fu <= fx {
			if u < x {
				hi = x
			} else {
				lo = x
			}
			v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
			continue
		}
		if u < x {
			lo = u
		} else {
			hi = u
		}
		switch {
		case fu <= fw || w == x:
			v, fv, w, fw = w, fw, u, fu
		case fu <= fv || v == x || v == w:
			v, fv = u, fu
		}
	}
	return x, fx
}
