package theta

import "freshet/forecast/regress"

// ses is simple exponential smoothing: level += alpha·(value − level).
type ses struct {
	alpha, first float64 // first: the level before the first value
}

// smooth finds the constant and first level of least squared one-step errors,
// which is maximum likelihood of normal ones. The errors are linear in the
// first level, so that only alpha, in the bounds of R's ets, is searched for;
// a grid comes first, as the sum of squares can have two valleys.
func smooth(x []float64) ses {
	const lo, hi, cells = 1e-4, .9999, 20
	squares := func(alpha float64) float64 { _, sum := firstLevel(x, alpha); return sum }
	best, least := 0, squares(lo)
	width := (hi - lo) / cells
	for i := 1; i <= cells; i++ {
		if v := squares(lo + float64(i)*width); v < least {
			best, least = i, v
		}
	}
	at := lo + float64(best)*width
	alpha, v := regress.Minimize(squares, max(lo, at-width), min(hi, at+width), 1e-6)
	if least <= v {
		alpha = at // an end of the range, which the search only nears
	}
	first, _ := firstLevel(x, alpha)
	return ses{alpha: alpha, first: first}
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
