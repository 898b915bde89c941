package stl

import "math"

// loess smooths evenly spaced values by local constants (degree 0) or lines
// (degree 1) with tricube weights over a window of neighbours, at every
// jump-th value and by straight lines between (Cleveland et al. 1990, section
// 2 and 4.1; where the paper leaves a choice, the authors' Fortran has it).
type loess struct {
	window, degree, jump int
	kernel               []float64 // weights by distance where the window is whole
	sum                  float64   // of kernel, both sides
	w                    []float64 // room for one window's weights
}

// newLoess has room for series of up to n values.
func newLoess(window, degree, jump, n int) *loess {
	half := window / 2
	l := &loess{window: window, degree: degree, jump: jump, w: make([]float64, min(window, n))}
	if window < n {
		l.kernel = make([]float64, half+1)
		for r := range l.kernel {
			l.kernel[r] = tricube(float64(r), float64(half))
			l.sum += 2 * l.kernel[r]
		}
		l.sum -= l.kernel[0]
	}
	return l
}

// tricube is the weight of a neighbour r away when the window reaches h.
func tricube(r, h float64) float64 {
	switch {
	case r > .999*h:
		return 0
	case r <= .001*h:
		return 1
	}
	q := r / h
	q = 1 - q*q*q
	return q * q * q
}

// smooth writes the smoothed y into out. weight, of the same length, may be
// nil. A value without weight in its window is kept as it is.
func (l *loess) smooth(y, weight, out []float64) {
	n := len(y)
	if n < 2 {
		copy(out, y)
		return
	}
	jump := min(l.jump, n-1)
	last := 0
	for i := 0; i < n; i += jump {
		left, right := l.around(i, n)
		out[i] = l.at(y, weight, float64(i), left, right, y[i])
		if i > 0 {
			between(out, last, i)
		}
		last = i
	}
	if last < n-1 {
		// The authors fit the end with the window of the last jump.
		left, right := l.around(last, n)
		out[n-1] = l.at(y, weight, float64(n-1), left, right, y[n-1])
		between(out, last, n-1)
	}
}

func between(v []float64, i, j int) {
	slope := (v[j] - v[i]) / float64(j-i)
	for k := i + 1; k < j; k++ {
		v[k] = v[i] + slope*float64(k-i)
	}
}

// around gives the window of value i of n, both ends included.
func (l *loess) around(i, n int) (left, right int) {
	if l.window >= n {
		return 0, n - 1
	}
	left = min(max(i-l.window/2, 0), n-l.window)
	return left, left + l.window - 1
}

// at gives the smoothed value at place x, which may lie outside y, from the
// values left to right, or instead if none of them has weight. This is the
// inner loop of all.
func (l *loess) at(y, weight []float64, x float64, left, right int, instead float64) float64 {
	n := len(y)
	h := max(x-float64(left), float64(right)-x)
	if l.window > n {
		h += float64((l.window - n) / 2)
	}
	half := l.window / 2
	whole := l.kernel != nil && l.window <= n && int(x)-left == half && right-int(x) == half
	near := y[left : right+1]
	if whole && weight == nil {
		// By symmetry the line through the window meets its mean here.
		sum := l.kernel[0] * near[half]
		for r := 1; r <= half; r++ {
			sum += l.kernel[r] * (near[half-r] + near[half+r])
		}
		return sum / l.sum
	}

	w := l.w[:len(near)]
	total := 0.0
	for j := range w {
		if whole {
			w[j] = l.kernel[max(j-half, half-j)]
		} else {
			w[j] = tricube(math.Abs(float64(left+j)-x), h)
		}
		if weight != nil {
			w[j] *= weight[left+j]
		}
		total += w[j]
	}
	if total <= 0 {
		return instead
	}
	// centre and spread of the weights, from the window's left end
	tilt, centre := 0.0, 0.0
	if h > 0 && l.degree > 0 {
		for j, v := range w {
			centre += v * float64(j)
		}
		centre /= total
		spread := 0.0
		for j, v := range w {
			d := float64(j) - centre
			spread += v * d * d
		}
		spread /= total
		if math.Sqrt(spread) > .001*float64(n-1) {
			tilt = (x - float64(left) - centre) / spread
		}
	}
	out := 0.0
	for j, v := range w {
		out += v * (tilt*(float64(j)-centre) + 1) * near[j]
	}
	return out / total
}
