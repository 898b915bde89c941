package ets

import "math"

// constants are the smoothing constants in the letters of HKOS: the level
// moves by alpha times the error, the slope by beta, the season by gamma, and
// the slope fades by phi a step. beta and gamma are 0 and phi is 1 where the
// model has no such part.
type constants struct {
	alpha, beta, gamma, phi float64
}

// state is what the model knows at one time. season holds the seasonal of
// each place in the season, the place of step t being t modulo the lag; it is
// empty in a model without one.
type state struct {
	level, slope float64
	season       []float64
}

// trace keeps what the recursion passed through: for each step the sum of
// level and slope, the seasonal, the slope before the step, and the mean
// expected. All are as long as the series.
type trace struct {
	base, seasonal, slope, mean []float64
}

func newTrace(n int) trace {
	v := make([]float64, 4*n)
	return trace{v[:n:n], v[n : 2*n : 2*n], v[2*n : 3*n : 3*n], v[3*n:]}
}

// fall is the criterion's parts: the sum of squared errors, relative if the
// error is multiplicative, the sum of ln |mean| over the observed steps if so,
// the number of them, and whether a model of positive values met a mean or
// seasonal at or below 0.
type fall struct {
	squares, logs float64
	n             int
	negative      bool
}

// least is the sum of squares below which a fit of values of this scale is
// perfect but for rounding.
func (f fall) least(scale float64) float64 { return float64(f.n) * 1e-24 * scale * scale }

// perfect tells whether the rest of the errors is rounding.
func (f fall) perfect(scale float64) bool { return f.squares <= f.least(scale) }

// deviance is -2 log-likelihood without constants (HKOS, section 5.1), of
// values of this scale. Perfect fits count as equal, so that the simplest of
// them is chosen.
func (f fall) deviance(scale float64) float64 {
	return float64(f.n)*math.Log(max(f.squares, f.least(scale))) + 2*f.logs
}

// run filters y from the state st, which becomes the last one, and fills tr.
// At a step that wasn't observed the error is unknown: the state is carried
// forward without correction.
func (m Model) run(y []float64, c constants, st *state, tr trace) fall {
	n := len(y)
	base, seasonal, slope, mean := tr.base[:n], tr.seasonal[:n], tr.slope[:n], tr.mean[:n]
	relative, times := m.Error == Multiplicative, m.Season == Multiplicative
	l, b := st.level, st.slope
	var out fall
	product := 1.0
	place := 0
	for t, v := range y {
		s := 0.0
		if len(st.season) > 0 {
			s = st.season[place]
		}
		q := l + c.phi*b
		f := q + s
		if times {
			f = q * s
		}
		base[t], seasonal[t], slope[t], mean[t] = q, s, b, f
		if relative && !(f > 0 && (!times || s > 0)) {
			out.negative = true
		}
		e := v - f
		if e != e {
			e = 0
		} else {
			out.n++
			if relative {
				out.squares += (e / f) * (e / f)
				if product *= math.Abs(f); product < 1e-200 || product > 1e100 {
					out.logs += math.Log(product)
					product = 1
				}
			} else {
				out.squares += e * e
			}
		}
		u, w := e, e
		if times {
			u, w = e/s, e/q
		}
		l = q + c.alpha*u
		b = c.phi*b + c.beta*u
		if len(st.season) > 0 {
			st.season[place] = s + c.gamma*w
			if place++; place == len(st.season) {
				place = 0
			}
		}
	}
	out.logs += math.Log(product)
	st.level, st.slope = l, b
	return out
}
