package smooth

import "math"

// vector holds what can be estimated: alpha, beta, gamma, the start's level
// and its trend.
type vector [5]float64

func (x vector) rule(multiplicative bool) rule {
	return rule{multiplicative, x[0], x[1], x[2]}
}

// rule is the recursion of all three methods: simple and double smoothing are
// the additive one with beta or gamma 0 and one figure of 0 for a season.
type rule struct {
	multiplicative     bool
	alpha, beta, gamma float64
}

// expect gives the value expected after level and trend at figure s.
func (r *rule) expect(level, trend, s float64) float64 {
	if r.multiplicative {
		return (level + trend) * s
	}
	return level + trend + s
}

// next gives level, trend and figure after the value y.
func (r *rule) next(y, level, trend, s float64) (l1, b1, s1 float64) {
	q := level + trend
	if r.multiplicative {
		l1 = q + r.alpha*(y/s-q)
		s1 = s + r.gamma*(y/l1-s)
	} else {
		l1 = q + r.alpha*(y-s-q)
		s1 = s + r.gamma*(y-l1-s)
	}
	return l1, trend + r.beta*(l1-q), s1
}

// problem is one series with its start, and room for the recursion.
type problem struct {
	y              []float64
	multiplicative bool
	start          State
	season         []float64
	slope          []vector // of each figure, by parameter
}

func newProblem(y []float64, multiplicative bool, start State) *problem {
	m := len(start.Season)
	return &problem{y: y, multiplicative: multiplicative, start: start, season: make([]float64, m), slope: make([]vector, m)}
}

// run goes through the series at x and gives the sum of squared errors, +Inf
// if a multiplicative level falls to zero, and the last level and trend. It
// leaves the seasons in p.season, the one at k serving the next step, and in
// fitted, unless nil, the value expected for each step from the start's.
func (p *problem) run(x *vector, fitted []float64) (sse, level, trend float64, k int) {
	r := x.rule(p.multiplicative)
	copy(p.season, p.start.Season)
	level, trend = x[3], x[4]
	for t := p.start.At; t < len(p.y); t++ {
		y, s := p.y[t], p.season[k]
		if r.multiplicative && level+trend <= 0 {
			return math.Inf(1), level, trend, k
		}
		f := r.expect(level, trend, s)
		if fitted != nil {
			fitted[t] = f
		}
		if math.IsNaN(y) {
			level += trend
		} else {
			sse += (y - f) * (y - f)
			level, trend, p.season[k] = r.next(y, level, trend, s)
		}
		if k++; k == len(p.season) {
			k = 0
		}
	}
	if r.multiplicative && level <= 0 {
		sse = math.Inf(1)
	}
	return sse, level, trend, k
}
