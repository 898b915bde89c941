package counts

import (
	"fmt"
	"math"

	"freshet/forecast"

	"gonum.org/v1/gonum/floats"
)

// Fit is a count model estimated on one series.
type Fit struct {
	model    Model
	series   forecast.Series // Values are dropped
	n        int
	steps    float64 // observed
	scales   scales
	marginal float64 // log marginal likelihood times prior, less a constant
	fitted   []float64
	warnings []error

	beta   []float64 // posterior means
	season []float64 // prior precisions of the season's coefficients
	chol   cholesky  // of the posterior precision of beta
	last   float64   // mean of u(n-1) given beta
	pull   []float64 // u(n-1) falls by pull·(b-beta) when beta is b
	lastV  float64   // variance of u(n-1) given beta
}

// Fit estimates the model. It refuses fewer than three observed steps, and
// values that aren't whole numbers of 0 or more. It panics if Usual has other
// harmonics than the season.
func (m Model) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if have := s.Observed(); have < leastSteps {
		return nil, &forecast.TooShort{Model: m.String(), Need: leastSteps, Have: have}
	}
	for i, v := range s.Values {
		if v < 0 || v != math.Floor(v) && !math.IsNaN(v) {
			return nil, fmt.Errorf("forecast: counts need whole numbers of 0 or more, have %v at step %d", v, i+1)
		}
	}
	if m.Usual == nil && m.shifts(s) {
		return m.shifted(s), nil
	}
	f := m.fit(s)
	if m.Usual != nil {
		m.Usual = nil
		if alone := m.fit(s); alone.marginal >= f.marginal+clearly {
			f = alone
		}
	}
	if f.model.shifts(s) {
		return f.model.shifted(s), nil
	}
	return f, nil
}

// clearly is how much likelier, as a logarithm, a series must be without what
// is usual of its sort for that to be given up: twenty times.
const clearly = 3

func (m Model) fit(s forecast.Series) *Fit {
	f, q := m.pose(s)
	f.found(q)
	return f
}

// found seeks the scales and keeps the fit.
func (f *Fit) found(q *problem) {
	f.scales, f.marginal = choose(q)
	f.keep(q)
}

// pose sets the problem up and starts it at the mean of the counts.
func (m Model) pose(s forecast.Series) (*Fit, *problem) {
	n, p, k := s.Len(), m.width(s.Period), m.seasonal(s.Period)
	f := &Fit{model: m, series: s.Like(nil), n: n, steps: float64(s.Observed())}
	q := newProblem(n, p, k)
	copy(q.y, s.Values)
	for _, t := range blunders(s) {
		q.y[t] = math.NaN()
		f.warnings = append(f.warnings, fmt.Errorf("the %v in %s don't fit what came near them and were left out", s.Values[t], naming(s, t)))
	}
	f.beta = make([]float64, p)
	if m.Shift > 0 {
		q.usual.at[0], q.usual.spread[0] = math.Log(memory/(1-memory)), memorySpread
	}
	if m.Offset != nil {
		q.usual.spread[2] = departs
	}
	if u := m.Usual; u != nil {
		q.usual = prior{u.Scales, u.Loose}
		if k > 0 && len(u.Season) != 2*k {
			panic(fmt.Sprintf("counts: need what is usual of %d harmonics, have %d", k, len(u.Season)/2))
		}
		for j := range 2 * k {
			f.beta[1+j] = u.Season[j]
			q.fixed[1+j] = 1 / (u.Spread[j] * u.Spread[j])
		}
	}
	sum, open := .5, .5
	for t := range n {
		row := q.x[t*p : (t+1)*p]
		exposure, known := m.known(s, t)
		if exposure == 0 {
			known = 0
			q.y[t] = math.NaN()
		}
		q.known[t] = known
		q.offset[t] = known + m.row(row, s, t) + floats.Dot(row, f.beta)
		if y := q.y[t]; !math.IsNaN(y) {
			q.counts = append(q.counts, y)
			l, _ := math.Lgamma(y + 1)
			q.lgammaY += l
			sum += y
			open += math.Exp(q.offset[t])
		}
	}
	q.fixed[0] = 1 / (levelSpread * levelSpread)
	for j, c := range m.Columns {
		q.fixed[1+2*k+j] = 1 / (c.Spread * c.Spread)
	}
	for y := range m.years.len() {
		at := m.delay(s.Period, y)
		q.fixed[at] = 1 / (m.Shift * m.Shift)
		if m.Year > 0 {
			q.fixed[at+1] = 1 / (m.Year * m.Year)
		}
	}
	// The level's prior is centred on the mean count, so that a series in
	// dozens and one in halves are treated alike.
	start := math.Log(sum / open)
	for t := range n {
		q.offset[t] += start
		q.eta[t] = q.offset[t]
	}
	f.beta[0] = start
	if float64(n) < s.Period && m.Usual == nil {
		need, unit := fmt.Sprintf("%.0f", math.Ceil(s.Period)), "steps"
		if s.Step == forecast.Week {
			need, unit = "a year", "weeks"
		}
		f.warnings = append(f.warnings, fmt.Errorf("need %s of records to know a season, have %d %s: the range is wide", need, n, unit))
	}
	return f, q
}

// naming names step t of s, a week by its first day.
func naming(s forecast.Series, t int) string {
	if s.Step == forecast.Week {
		return "the week of " + s.At(t).Time().Format("January 2, 2006")
	}
	return fmt.Sprintf("step %d", t+1)
}

// choose finds the scales of greatest marginal likelihood times prior by
// cyclic parabolas, one coordinate after another: the surface is smooth and
// close to a sum of one-dimensional ones, and each evaluation starts from the
// last mode, so that it costs two or three Newton steps.
func choose(q *problem) (scales, float64) {
	at := q.usual.at
	value := func(v [4]float64) float64 { return q.mode(fromVector(v), near) + q.usual.log(v) }
	best := value(at)
	step := [4]float64{.8, .5, .5, .7}
	for range 3 {
		before := best
		for i := range at {
			if i == 2 && (q.k == 0 || q.fixed[1] > 0) { // there is no such scale
				continue
			}
			lo, hi := at, at
			lo[i] -= step[i]
			hi[i] += step[i]
			fl, fh := value(lo), value(hi)
			to := at
			curve := fl - 2*best + fh
			shift := step[i] * 2
			if curve < 0 {
				shift = .5 * step[i] * (fl - fh) / curve
			} else if fl > fh {
				shift = -shift
			}
			to[i] += max(-3*step[i], min(3*step[i], shift))
			ft := value(to)
			switch top := max(best, fl, fh, ft); {
			case top == ft:
				at, best = to, ft
			case top == fl:
				at, best = lo, fl
			case top == fh:
				at, best = hi, fh
			}
			step[i] = max(.15, .6*step[i])
		}
		if best-before < .02 {
			break
		}
	}
	best = q.mode(fromVector(at), exact) + q.usual.log(at)
	return fromVector(at), best
}

// keep copies what forecasts need out of the problem.
func (f *Fit) keep(q *problem) {
	m := q.p + 1
	for j, b := range q.beta {
		f.beta[j] += b // what was taken as known stands there already
	}
	f.season = make([]float64, 2*q.k)
	for j := range f.season {
		f.season[j] = q.precision(1+j, f.scales)
	}
	f.chol = q.chol
	f.last = q.u[q.n-1]
	f.lastV = 1 / q.d[q.n-1]
	f.pull = make([]float64, q.p)
	for j, z := range q.z[(q.n-1)*m:][:q.p] {
		f.pull[j] = z * f.lastV
	}
	f.fitted = f.filter(q)
}

// filter gives the mean expected for each step from the steps before it, the
// coefficients and scales being those of the whole history: a Kalman filter of
// the level on the linearised counts.
func (f *Fit) filter(q *problem) []float64 {
	c := f.scales
	noise := c.sigma * c.sigma * (1 - c.rho*c.rho)
	out := make([]float64, q.n)
	mean, variance := 0.0, c.sigma*c.sigma
	for t := range q.n {
		known := q.offset[t]
		for j, b := range q.beta {
			known += q.x[t*q.p+j] * b
		}
		out[t] = math.Exp(min(known+mean+variance/2, 80))
		if y := q.y[t]; !math.IsNaN(y) {
			mu := math.Exp(known + mean)
			info := mu / (1 + mu/c.size)
			gain := variance / (1 + variance*info)
			mean += gain * (y - mu) / (1 + mu/c.size)
			variance = gain
		}
		mean *= c.rho
		variance = c.rho*c.rho*variance + noise
	}
	return out
}

// Fitted gives the mean expected for each step from the ones before it, with
// the coefficients that the whole history taught.
func (f *Fit) Fitted() []float64 { return append([]float64(nil), f.fitted...) }

// Borrows tells whether the fit leans on what is usual of its sort.
func (f *Fit) Borrows() bool { return f.model.Usual != nil }

// Parameters gives the scales and the counts' size.
func (f *Fit) Parameters() map[string]float64 {
	return map[string]float64{"rho": f.scales.rho, "sigma": f.scales.sigma, "season": f.scales.season, "size": f.scales.size}
}
