package ets

import "math"

// search finds the most likely constants and starting values of one member.
//
// With G the geometric mean of the expected values (1 for additive errors),
// -2 log-likelihood is n ln of the sum of squares of r = G (y/f - 1) or y - f,
// so that every member is a nonlinear least-squares problem. Its Jacobian
// follows the recursion forward beside the state, and a damped Gauss-Newton
// step (Levenberg 1944, Marquardt 1963) inside the box of the constants needs
// few iterations. All memory is made once, for the largest member.
//
// The parameters x are the starting level, the slope, the seasonals of all
// places but the last (which stays: the recursion has one seasonal too many),
// then alpha, beta and gamma as shares of the room that alpha leaves them,
// and phi.
type search struct {
	y   []float64
	lag int

	model  Model
	states int // parameters that are starting values
	beta   int // index of each constant in x, -1 where it has none
	gamma  int // alpha's is states
	phi    int
	last   float64   // the seasonal that stays
	x      []float64 // accepted parameters
	fall   fall      // at x
	value  float64   // deviance at x
	tr     trace     // at the last parameters tried
	season []float64
	poly   []float64

	trial, grad, step []float64
	lo, hi            [4]float64 // of the constants
	hess, chol        []float64  // square, row after row, lower triangle
	index             []int

	level, slope, seasons []float64 // the state's derivatives by x
	share                 []float64 // mean of the derivatives of ln mean
	rows                  []float64 // a few rows of the Jacobian
	// Of these rows: the errors, and what turns a row into the derivatives of
	// ln mean.
	errors, logs [stack]float64
}

func newSearch(y []float64, lag int) *search {
	p := lag + 5
	v := make([]float64, (7+lag+stack)*p+2*p*p+lag+2*(lag+2))
	take := func(n int) []float64 {
		out := v[:n:n]
		v = v[n:]
		return out
	}
	return &search{y: y, lag: lag, tr: newTrace(len(y)),
		x: take(p), trial: take(p), grad: take(p), step: take(p), level: take(p), slope: take(p), share: take(p),
		seasons: take(lag * p), rows: take(stack * p), hess: take(p * p), chol: take(p * p),
		season: take(lag), poly: take(2 * (lag + 2)), index: make([]int, p)}
}

// use sets the search to a member and its parameters.
func (w *search) use(m Model, c constants, st state) {
	w.model = m
	x := append(w.x[:0], st.level)
	if m.Trend > None {
		x = append(x, st.slope)
	}
	w.last = 0
	if m.seasonal() {
		x = append(x, st.season[:w.lag-1]...)
		w.last = st.season[w.lag-1]
	}
	w.states = len(x)
	w.beta, w.gamma, w.phi = -1, -1, -1
	room := func(v, width float64) float64 { // v as a share of the room above the edge
		if width <= 0 {
			return 0
		}
		return min(1, max(0, (v-edge)/width))
	}
	alpha := min(1-edge, max(edge, c.alpha))
	w.lo, w.hi = [4]float64{edge}, [4]float64{1 - edge, 1, 1, 1}
	x = append(x, alpha)
	if m.Trend > None {
		w.beta = len(x)
		x = append(x, room(c.beta, alpha-edge))
	}
	if m.seasonal() {
		w.gamma = len(x)
		x = append(x, room(c.gamma, 1-alpha-edge))
	}
	if m.Trend == Damped {
		w.phi = len(x)
		w.lo[w.phi-w.states], w.hi[w.phi-w.states] = phiLo, phiHi
		x = append(x, min(phiHi, max(phiLo, c.phi)))
	}
	p := len(x)
	w.x, w.trial, w.grad, w.step = x, w.trial[:p], w.grad[:p], w.step[:p]
	w.level, w.slope, w.share = w.level[:p], w.slope[:p], w.share[:p]
	w.retreat(x)
	w.fall, w.value = w.at(x)
}

// constants gives those of x.
func (w *search) constants(x []float64) constants {
	c := constants{alpha: x[w.states], phi: 1}
	if w.beta >= 0 {
		c.beta = edge + x[w.beta]*(c.alpha-edge)
	}
	if w.gamma >= 0 {
		c.gamma = edge + x[w.gamma]*(1-c.alpha-edge)
	}
	if w.phi >= 0 {
		c.phi = x[w.phi]
	}
	return c
}

// start gives the starting state of x. Its seasonals are the search's own.
func (w *search) start(x []float64) state {
	st := state{level: x[0]}
	i := 1
	if w.beta >= 0 {
		st.slope = x[1]
		i = 2
	}
	if w.gamma >= 0 {
		st.season = w.season[:w.lag]
		copy(st.season, x[i:w.states])
		st.season[w.lag-1] = w.last
	}
	return st
}

// at gives the criterion at x, +Inf outside of the model's domain.
func (w *search) at(x []float64) (fall, float64) {
	st := w.start(x)
	f := w.model.run(w.y, w.constants(x), &st, w.tr)
	if v := f.deviance(1); !f.negative && v < math.Inf(1) {
		return f, v
	}
	return f, math.Inf(1)
}

// minimise improves x until the deviance would fall by less than tolerance,
// or after 60 steps, or once a deviance below hopeless seems out of reach.
func (w *search) minimise(tolerance, hopeless float64) {
	const limit, most = 60, 1e6
	damping := 1e-2
	for range limit {
		if math.IsInf(w.value, 1) || w.fall.perfect(1) {
			return
		}
		w.normal()
		for accepted := false; !accepted; {
			if promise, ok := w.solve(damping); ok {
				// Of the deviance, and about as much as without damping.
				promise *= (1 + damping) * float64(w.fall.n) / w.fall.squares
				// Far from the minimum the quadratic model promises too little.
				// Twenty times as much and ten more cost .04 of AICc in the mean
				// over monthly series of the M3 competition, and save much work.
				if promise < tolerance || w.value-20*promise-10 > hopeless {
					return
				}
				for i, x := range w.x {
					w.trial[i] = x + w.step[i]
				}
				w.retreat(w.trial)
				if f, value := w.at(w.trial); value < w.value {
					gain := w.value - value
					w.x, w.trial, w.fall, w.value = w.trial, w.x, f, value
					accepted = true
					switch {
					case gain > min(promise, 1)/2:
						damping /= 10
					case gain < promise/10:
						damping *= 3
					}
					if gain < tolerance/10 {
						return
					}
					continue
				}
			}
			if damping *= 8; damping > most {
				return
			}
		}
	}
}

// retreat lowers beta until old errors are forgotten.
func (w *search) retreat(x []float64) {
	if w.beta < 0 || w.gamma < 0 || forgets(w.constants(x), w.lag, w.poly) {
		return
	}
	lo, hi := 0., x[w.beta]
	for range 20 {
		x[w.beta] = (lo + hi) / 2
		if forgets(w.constants(x), w.lag, w.poly) {
			lo = x[w.beta]
		} else {
			hi = x[w.beta]
		}
	}
	x[w.beta] = lo
}
