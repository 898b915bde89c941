package watch

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
	"freshet/forecast/regress"
)

// Farrington judges one week's count by the same weeks of past years: a
// quasi-Poisson regression on time in which past outbreaks weigh less, and the
// upper bound of what it predicts. Classic is the method of Farrington et al.
// (1996), Flexible that of Noufaily et al. (2013), both in the form of R's
// package surveillance.
type Farrington struct {
	Years int // past years to look at
	Half  int // weeks either side of the week's anniversary
	// Levels of the season within a year, the weeks around the anniversary
	// being one; 1 looks at those alone.
	Levels int
	Skip   int // latest weeks left out, so that an outbreak can't hide itself
	// Residual is the standardised Anscombe residual above which a week weighs
	// less.
	Residual float64
	// TrendP is the significance below which the trend stays in. It never
	// stays under three years, nor if it leads beyond every count seen.
	TrendP float64
	Z      float64 // the bound's normal quantile
	// Counted bounds by the quantile of a negative binomial count, instead of
	// by the 2/3 power.
	Counted bool
}

// Classic gives the settings of 1996: four years, three weeks either side, a
// two-sided range of 95 %.
func Classic() Farrington {
	return Farrington{Years: 4, Half: 3, Levels: 1, Residual: 1, TrendP: .05, Z: unit.Quantile(.975)}
}

// Flexible gives the settings of 2013: ten levels, the last 26 weeks left out,
// the 99 % quantile of a negative binomial count.
func Flexible() Farrington {
	return Farrington{Years: 4, Half: 3, Levels: 10, Skip: 26, Residual: 2.58, TrendP: 1, Z: unit.Quantile(.99), Counted: true}
}

// Bound is what Farrington expects of a week.
type Bound struct {
	Expected, Upper float64
	Dispersion      float64 // variance over mean, at least 1
	Trend           bool    // whether the trend stayed in
	// Alarm says that the count is above Upper, and no lone pair of events:
	// five or more came within four weeks.
	Alarm bool
}

// Below five events in four weeks nothing is an outbreak (surveillance's
// limit54).
const (
	enoughEvents = 5
	enoughWeeks  = 4
)

// Bound judges step t of weekly counts by the ones before it. Unobserved
// values (NaN) don't count. It gives an error if the history is shorter than
// the years asked for, or holds nothing to go by. It panics if s has no step t,
// or a year of it no room for so many Levels.
func (f Farrington) Bound(s forecast.Series, t int) (Bound, error) {
	if t < 0 || t >= s.Len() {
		panic(fmt.Sprintf("watch: need a step from 0 to %d, have %d", s.Len()-1, t))
	}
	rows, err := f.rows(s.Lag(), t)
	if err != nil {
		return Bound{}, err
	}
	g := newLogFit(s.Values, rows, f.Levels, t)
	if err := f.fit(g, true); err != nil {
		return Bound{}, err
	}
	trend := f.Years >= 3 && math.Exp(g.coef[0]) <= g.most && g.trendP() < f.TrendP
	if !trend {
		if err := f.fit(g, false); err != nil {
			return Bound{}, err
		}
	}
	mu := math.Exp(g.coef[0])
	phi := max(1, g.dispersion)
	b := Bound{Expected: mu, Dispersion: phi, Trend: trend}
	switch {
	case !f.Counted:
		b.Upper = PowerBound(mu, phi, mu*mu*phi*g.variance(0), f.Z)
	case phi > 1:
		b.Upper = forecast.NegBin{Mu: mu, Size: mu / (phi - 1)}.Quantile(unit.CDF(f.Z))
	default:
		b.Upper = forecast.NegBin{Mu: mu, Size: math.Inf(1)}.Quantile(unit.CDF(f.Z))
	}
	recent := 0.0
	for _, v := range s.Values[max(0, t+1-enoughWeeks) : t+1] {
		if !math.IsNaN(v) {
			recent += v
		}
	}
	b.Alarm = s.Values[t] > b.Upper && recent >= enoughEvents
	return b, nil
}

// PowerBound gives μ{1 + ⅔ z μ⁻¹ √(φμ + var)}^{3/2}, the upper bound of a count
// whose 2/3 power is near normal (Farrington et al. 1996, section 3.5, from
// memory): mean mu known with variance, dispersion phi.
func PowerBound(mu, phi, variance, z float64) float64 {
	return mu * math.Pow(1+2.0/3*z/mu*math.Sqrt(phi*mu+variance), 1.5)
}

// row is a past week that counts: its step and the season's level it is in, 0
// for the weeks around the anniversaries.
type row struct{ step, level int }

// rows gives the past weeks. Between the windows around two anniversaries the
// weeks are dealt out over the other levels, the first levels taking what is
// left over.
func (f Farrington) rows(year, t int) ([]row, error) {
	if first := t - f.Years*year - f.Half; first < 0 {
		return nil, fmt.Errorf("watch: need %d weeks before the one to judge, have %d", f.Years*year+f.Half, t)
	}
	if f.Levels > 1 && year-2*f.Half-1 < f.Levels-1 {
		panic(fmt.Sprintf("watch: need at most %d levels in a year of %d weeks, have %d", year-2*f.Half, year, f.Levels))
	}
	var out []row
	add := func(step, level int) {
		if f.Skip == 0 || step < t-f.Skip {
			out = append(out, row{step, level})
		}
	}
	for y := f.Years; y >= 1; y-- {
		at := t - y*year
		for d := -f.Half; d <= f.Half; d++ {
			add(at+d, 0)
		}
		if f.Levels == 1 {
			continue
		}
		between := year - 2*f.Half - 1
		each, rest := between/(f.Levels-1), between%(f.Levels-1)
		step := at + f.Half + 1
		for level := 1; level < f.Levels; level++ {
			n := each
			if level <= rest {
				n++
			}
			for range n {
				add(step, level)
				step++
			}
		}
	}
	return out, nil
}

// fit fits once, and again with weights from the residuals.
func (f Farrington) fit(g *logFit, trend bool) error {
	for i := range g.prior {
		g.prior[i] = 1
	}
	if err := g.fit(trend); err != nil {
		return err
	}
	g.reweigh(f.Residual)
	return g.fit(trend)
}

// logFit is a quasi-Poisson regression with a log link: level of the week to
// judge first, other levels of the season, then time from that week.
type logFit struct {
	y, prior, eta, z, w []float64
	levels              int
	x                   [2]*mat.Dense // without and with time
	solver              [2]*regress.Solver

	trend      int // which of the two was fitted last
	coef       []float64
	dispersion float64
	observed   int
	most       float64
}

func newLogFit(values []float64, rows []row, levels, now int) *logFit {
	n := len(rows)
	g := &logFit{y: make([]float64, n), prior: make([]float64, n), eta: make([]float64, n), z: make([]float64, n), w: make([]float64, n), levels: levels}
	for k := range g.x {
		g.x[k] = mat.NewDense(n, levels+k, nil)
		g.solver[k] = regress.NewSolver(n, levels+k)
	}
	for i, r := range rows {
		g.y[i] = values[r.step]
		if !math.IsNaN(g.y[i]) {
			g.observed++
			g.most = max(g.most, g.y[i])
		}
		for k := range g.x {
			x := g.x[k].RawRowView(i)
			x[0] = 1
			if r.level > 0 {
				x[r.level] = 1
			}
			if k == 1 {
				x[levels] = float64(r.step-now) / 52 // years, so that columns are alike in size
			}
		}
	}
	return g
}

// fit runs iteratively reweighted least squares from the mean count.
func (g *logFit) fit(trend bool) error {
	g.trend = 0
	if trend {
		g.trend = 1
	}
	p := g.levels + g.trend
	if g.observed <= p || g.most == 0 {
		return fmt.Errorf("watch: need more than %d past weeks and one with events in it, have %d weeks and at most %v events", p, g.observed, g.most)
	}
	for i, y := range g.y {
		g.eta[i] = math.Log(max(y, 0) + .1) // the usual start of a Poisson regression
	}
	s, before := g.solver[g.trend], math.Inf(1)
	for range 50 {
		deviance := 0.0
		for i, y := range g.y {
			if math.IsNaN(y) {
				g.w[i], g.z[i] = 0, 0
				continue
			}
			mu := math.Exp(g.eta[i])
			g.w[i] = g.prior[i] * mu
			g.z[i] = g.eta[i] + (y-mu)/mu
			deviance += 2 * g.prior[i] * (mu - y)
			if y > 0 {
				deviance += 2 * g.prior[i] * y * math.Log(y/mu)
			}
		}
		if math.Abs(deviance-before) < 1e-10*(math.Abs(deviance)+.1) {
			break
		}
		before = deviance
		if err := s.Factor(g.x[g.trend], g.z, g.w); err != nil {
			return err
		}
		if err := s.Solve(p); err != nil {
			return err
		}
		g.coef = s.Coef(nil)
		for i := range g.eta {
			v := mat.Dot(mat.NewVecDense(p, g.x[g.trend].RawRowView(i)), mat.NewVecDense(p, g.coef))
			g.eta[i] = max(-30, min(v, 30))
		}
	}
	pearson := 0.0
	for i, y := range g.y {
		if mu := math.Exp(g.eta[i]); !math.IsNaN(y) {
			pearson += g.prior[i] * (y - mu) * (y - mu) / mu
		}
	}
	g.dispersion = pearson / float64(g.observed-p)
	return nil
}

// reweigh gives weeks whose standardised Anscombe residual is above limit a
// weight of one over its square, and scales all weights to the mean of 1.
func (g *logFit) reweigh(limit float64) {
	phi := max(1, g.dispersion)
	leverage := g.z // not needed before the next fit
	g.solver[g.trend].Leverage(leverage)
	sum := 0.0
	for i, y := range g.y {
		g.prior[i] = 1
		if math.IsNaN(y) {
			continue
		}
		mu := math.Exp(g.eta[i])
		a := 1.5 * (math.Cbrt(y*y)*math.Pow(mu, -1.0/6) - math.Sqrt(mu)) / math.Sqrt(phi*max(1e-12, 1-leverage[i]))
		if a > limit {
			g.prior[i] = 1 / (a * a)
		}
		sum += g.prior[i]
	}
	for i := range g.prior {
		g.prior[i] *= float64(g.observed) / sum
	}
}

// variance gives that of coefficient j, over the dispersion.
func (g *logFit) variance(j int) float64 {
	root := g.solver[g.trend].Root()
	r := mat.NewVecDense(g.levels+g.trend, root.RawRowView(j))
	return mat.Dot(r, r)
}

// trendP gives the two-sided significance of the trend by Student's t.
func (g *logFit) trendP() float64 {
	j := g.levels
	t := g.coef[j] / math.Sqrt(g.dispersion*g.variance(j))
	return 2 * distuv.StudentsT{Sigma: 1, Nu: float64(g.observed - j - 1)}.Survival(math.Abs(t))
}
