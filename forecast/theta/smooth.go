package theta

import "freshet/forecast/regress"

// ses is simple exponential smoothing: level += alpha·(value − level).
type ses struct {
	alpha, first float64 // first: the level before the first value
}

// smooth finds the constant and first level of least squared one-step errors,
// which is maximum likelihood of normal ones. The errors are linear in the
// first level, so that only alpha, in the bounds of R's ets, is searched for.
func smooth(x []float64) ses {
	alpha := search(func(alpha float64) float64 { _, sum := firstLevel(x, alpha); return sum }, 1e-4, .9999)
	first, _ := firstLevel(x, alpha)
	return ses{alpha: alpha, first: first}
}

// search finds the alpha from lo to hi of the least f: the best of a grid,
// as there can be two valleys, and from there the bottom of its valley.
func search(f func(alpha float64) float64, lo, hi float64) float64 {
	const cells = 20
	best, least := lo, f(lo)
	width := (hi - lo) / cells
	for i := 1; i <= cells; i++ {
		at := lo + float64(i)*width
		if v := f(at); v < least {
			best, least = at, v
		}
	}
	// An end of the range is only neared, so that it has to be beaten.
	if alpha, v := regress.Minimize(f, max(lo, best-width), min(hi, best+width), 1e-6); v < least {
		return alpha
	}
	return best
}

// firstLevel gives the best first level for alpha and its sum of squared
// errors. With e the errors from a first level of x[0], another one that is u
// higher leaves e − u(1−alpha)^t.
func firstLevel(x []float64, alpha float64) (first, squares float64) {
	var ee, ed, dd float64
	level, d := x[0], 1.0
	for _, v := range x {
		e := v - level
		ee += e * e
		ed += e * d
		dd += d * d
		level += alpha * e
		d *= 1 - alpha
	}
	return x[0] + ed/dd, ee - ed*ed/dd
}
