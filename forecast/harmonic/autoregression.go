package harmonic

import "math"

// partials are an autoregression's partial autocorrelations, each in (-1, 1),
// which is all that a stationary one needs (Barndorff-Nielsen and Schou 1973).
// The ones beyond its order are 0.
type partials [maxOrder]float64

// filter is the Kalman filter of an autoregression that is seen at some steps
// only. Its state is the last few errors, the newest first; cov is the state's
// covariance before the next step is seen, in units of the innovations'
// variance. While steps are missing it grows to the stationary covariance.
// No autoregression is one of order 1 with coefficient 0.
type filter struct {
	order int      // at least 1
	phi   partials // coefficients
	cov   [maxOrder][maxOrder]float64
	run   int // steps seen on end: from order on, only the innovation is unknown
}

// newFilter gives the filter before the first step, by the recursion of
// Durbin and Levinson (Brockwell and Davis 1991, section 5.2; from memory).
func newFilter(p partials, order int) filter {
	f := filter{order: max(1, order)}
	var rho [maxOrder + 1]float64 // autocorrelations
	rho[0] = 1
	left := 1.0 // share of the variance not explained
	for k := range f.order {
		rho[k+1] = p[k] * left
		for j := range k {
			rho[k+1] += f.phi[j] * rho[k-j]
		}
		before := f.phi
		for j := range k {
			f.phi[j] -= p[k] * before[k-1-j]
		}
		f.phi[k] = p[k]
		left *= 1 - p[k]*p[k]
	}
	for i := range f.order {
		for j := range f.order {
			f.cov[i][j] = rho[max(i-j, j-i)] / left
		}
	}
	return f
}

// see takes one step's error in: the state moves by gain times the surprise,
// whose variance is v.
func (f *filter) see() (gain partials, v float64) {
	f.run++
	if f.run > f.order {
		return partials{1}, 1
	}
	v = f.cov[0][0]
	for i := range f.order {
		gain[i] = f.cov[i][0] / v
	}
	first := f.cov[0]
	for i := range f.order {
		for j := range f.order {
			f.cov[i][j] -= gain[i] * first[j]
		}
	}
	return gain, v
}

// advance moves the covariance to the next step, from one that was seen or not.
func (f *filter) advance(seen bool) {
	switch {
	case !seen:
		f.run = 0
	case f.run > f.order:
		return
	case f.run == f.order:
		f.cov = [maxOrder][maxOrder]float64{{1}}
		return
	}
	var top partials
	sum := 1.0
	for j := range f.order {
		for i := range f.order {
			top[j] += f.phi[i] * f.cov[i][j]
		}
		sum += top[j] * f.phi[j]
	}
	for i := f.order - 1; i > 0; i-- {
		for j := f.order - 1; j > 0; j-- {
			f.cov[i][j] = f.cov[i-1][j-1]
		}
	}
	for j := f.order - 1; j > 0; j-- {
		f.cov[0][j], f.cov[j][0] = top[j-1], top[j-1]
	}
	f.cov[0][0] = sum
}

// take moves one series' state by its value at the step seen, and gives the
// surprise that it was.
func (f *filter) take(state *partials, v float64, gain *partials) float64 {
	surprise := v - state[0]
	for i := range f.order {
		state[i] += gain[i] * surprise
	}
	return surprise
}

// next moves one series' state to the next step.
func (f *filter) next(state *partials) {
	sum := 0.0
	for i := range f.order {
		sum += f.phi[i] * state[i]
	}
	for i := f.order - 1; i > 0; i-- {
		state[i] = state[i-1]
	}
	state[0] = sum
}

// likelihood gives the sum of squares of the standardised surprises of e, NaN
// where not seen, and the sum of their log variances.
func likelihood(e []float64, p partials, order int) (squares, logs float64) {
	f := newFilter(p, order)
	var state partials
	for _, v := range e {
		seen := !math.IsNaN(v)
		if seen {
			gain, variance := f.see()
			surprise := f.take(&state, v, &gain)
			squares += surprise * surprise / variance
			if variance != 1 {
				logs += math.Log(variance)
			}
		}
		f.next(&state)
		f.advance(seen)
	}
	return squares, logs
}
