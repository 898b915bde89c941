// Package counts forecasts weekly counts of ten to forty, or of two: the
// drop-offs of a small shop.
//
// A count is negative binomial around a mean whose logarithm is the sum of a
// long-run level, a season of harmonics, known effects (holidays, closed days,
// events), and a level of the moment that wanders and comes back:
//
//	y(t) ~ NB(mu(t), size)        variance mu + mu²/size
//	ln mu(t) = ln exposure(t) + x(t)'beta + u(t)
//	u(t) = rho u(t-1) + noise     stationary, standard deviation sigma
//
// There is no trend but what Columns bring: a line through the ups and downs of a
// few years, carried on, costs more than it gains. A shop that keeps growing is a
// level that is slow to come back, and its rho tells.
//
// A season may come early or late each year, and a year may be busier or quieter
// than most ([Model.Shift], [Model.Year]).
//
// Every coefficient has a normal prior, so that a short history is answered
// with a wide range instead of a wild one. The coefficients and the wandering
// level are found together as the posterior's mode by Newton's method, and the
// four scales (rho, sigma, the season's strength, size) by the greatest
// Laplace-approximated marginal likelihood times weak priors (Rue, Martino and
// Chopin 2009, section 3; from memory). The Hessian is a tridiagonal block
// bordered by the coefficients, so one step costs O(n p²).
//
// The package refuses values that aren't whole numbers of 0 or more. Forecasts
// are counts: never negative, and zero where zero is likely.
//
// To use it: fill a [Model] with what is known of the calendar, Fit a weekly
// series, and ask the Fit for marginals, for joint paths, or for paths of the
// mean alone ([Fit.Means]).
package counts

import (
	"fmt"
	"math"

	"freshet/forecast"
)

// Column is a known effect on the log mean. At gives its value in the step
// that begins on start and lasts step days, for the past and the future alike.
// Spread is the prior standard deviation of its coefficient, whose mean is 0.
type Column struct {
	Name   string
	Spread float64
	At     func(start forecast.Date, step int) float64
}

// Model is the recipe. Its zero value has a season of DefaultHarmonics and no
// other effects.
type Model struct {
	// Harmonics is the number of sine and cosine pairs a season may have; their
	// prior shrinks the higher ones. 0 stands for DefaultHarmonics, a negative
	// number for no season.
	Harmonics int
	// Columns are further known effects.
	Columns []Column
	// Exposure gives the share of a usual step in which things could happen,
	// such as open days over usual days; nil stands for 1. A step without any is
	// taken as not observed in the past and as 0 in the future.
	Exposure func(start forecast.Date, step int) float64
	// Offset gives a further known part of the log mean; nil stands for 0. With
	// one, the season is a departure from it, which may be slight or strong.
	Offset func(start forecast.Date, step int) float64
	// Usual is what other series of the same sort have in common; nil where there
	// are none. It must have the season's harmonics. A series that speaks clearly
	// against it is fitted without.
	Usual *Usual
	// Shift is by how many days a year's season comes early or late, as a standard
	// deviation; at 0 none does.
	Shift float64
	// Year is by how much such a year's level differs from the others', as the
	// standard deviation of its logarithm; it takes a Shift.
	Year float64

	years *years // set once they are found
}

// DefaultHarmonics is enough for a rise and fall of six weeks.
const DefaultHarmonics = 6

// leastSteps is the least history that says anything of a level.
const leastSteps = 3

func (m Model) String() string {
	k := m.harmonics()
	if k == 0 {
		return "counts with a moving level"
	}
	if m.Shift > 0 {
		return fmt.Sprintf("counts with a season of %d harmonics that comes early or late, and a moving level", k)
	}
	return fmt.Sprintf("counts with a season of %d harmonics and a moving level", k)
}

func (m Model) harmonics() int {
	switch {
	case m.Harmonics < 0:
		return 0
	case m.Harmonics == 0:
		return DefaultHarmonics
	}
	return m.Harmonics
}

// seasonal gives the harmonics that a series can carry: none without a
// period, and never more than half of it.
func (m Model) seasonal(period float64) int {
	if period <= 1 {
		return 0
	}
	return min(m.harmonics(), int(math.Ceil(period/2))-1)
}

// levelSpread is the prior standard deviation of the long-run level around the
// mean count: nearly nothing is known of it.
const levelSpread = 3.0

// columns of the regression: level, harmonics, the model's own, then for each year
// its days of delay and, if they have one, its level.
func (m Model) width(period float64) int { return m.delay(period, m.years.len()) }

// common gives how many of the columns aren't a year's.
func (m Model) common(period float64) int { return 1 + 2*m.seasonal(period) + len(m.Columns) }

// delay gives the column of a year's days of delay; its level stands in the next.
func (m Model) delay(period float64, year int) int {
	if m.Year > 0 {
		year *= 2
	}
	return m.common(period) + year
}

// row fills x with the regression's values for step i of s, counted from the
// series' first, and gives what stands beside them: a known part of the log mean.
func (m Model) row(x []float64, s forecast.Series, i int) (beside float64) {
	x[0] = 1
	own := x[1+2*m.seasonal(s.Period):]
	for j, c := range m.Columns {
		own[j] = c.At(s.At(i), s.Step)
	}
	return m.place(x, s, i)
}

// place fills the season of a row, and its year's columns once the years are known.
func (m Model) place(x []float64, s forecast.Series, i int) (beside float64) {
	season, cycles := x[1:1+2*m.seasonal(s.Period)], s.Phase(i)
	if m.years == nil || m.years.season == nil {
		harmonics(season, cycles)
		return 0
	}
	y := m.years.of(cycles)
	late, slope := m.years.late[y], 0.0 // of the log season, a day
	harmonics(season, cycles-late/days(s))
	for j := 0; j < len(season); j += 2 {
		w := 2 * math.Pi * float64(j/2+1) / days(s)
		slope += w * (m.years.season[j]*season[j+1] - m.years.season[j+1]*season[j])
	}
	clear(x[m.common(s.Period):])
	at := m.delay(s.Period, y)
	x[at] = -slope
	if m.Year > 0 {
		x[at+1] = 1
	}
	return slope * late
}

// harmonics fills x with sine and cosine of each harmonic at a place in the year,
// in cycles.
func harmonics(x []float64, cycles float64) {
	if len(x) == 0 {
		return
	}
	sin, cos := math.Sincos(2 * math.Pi * cycles)
	x[0], x[1] = sin, cos
	for j := 2; j < len(x); j += 2 { // of a sum of angles
		x[j], x[j+1] = x[j-2]*cos+x[j-1]*sin, x[j-1]*cos-x[j-2]*sin
	}
}

// days gives the length of a series' period.
func days(s forecast.Series) float64 { return s.Period * float64(s.Step) }

// known gives the exposure and the known part of the log mean of step i.
func (m Model) known(s forecast.Series, i int) (exposure, offset float64) {
	exposure = 1
	if m.Exposure != nil {
		exposure = max(0, m.Exposure(s.At(i), s.Step))
	}
	if m.Offset != nil {
		offset = m.Offset(s.At(i), s.Step)
	}
	if exposure > 0 {
		offset += math.Log(exposure)
	}
	return exposure, offset
}

// scales are the four that the marginal likelihood chooses.
type scales struct {
	rho    float64 // the level's memory from one step to the next
	sigma  float64 // its standard deviation, log scale
	season float64 // standard deviation of the first harmonic's coefficients
	size   float64 // the counts' own roughness
}

// usual are the scales' prior medians and their spreads: the logistic scale
// for rho, the log scale for the rest. They are our own, for shops: a level
// that wanders by an eighth, and may forget within weeks or in years; a season
// whose strength a few years tell badly, so that it is held near; counts
// somewhat rougher than Poisson's, or not.
var (
	usual       = scales{rho: .9, sigma: .12, season: .25, size: 20}
	usualSpread = [4]float64{2, .9, .2, 1.2}
)

// departs is the spread of the strength of a season beside a known part: a kind
// of job that comes in spring alone departs from its shop's season many times
// as far as most do.
const departs = 1

// loosely is the scales' prior of a series of which no others are known.
var loosely = prior{usual.vector(), usualSpread}

// prior is that of the scales' logarithms: medians and spreads.
type prior struct{ at, spread [4]float64 }

func (s scales) vector() [4]float64 {
	return [4]float64{math.Log(s.rho / (1 - s.rho)), math.Log(s.sigma), math.Log(s.season), math.Log(s.size)}
}

func fromVector(v [4]float64) scales {
	return scales{rho: 1 / (1 + math.Exp(-v[0])), sigma: math.Exp(v[1]), season: math.Exp(v[2]), size: math.Exp(v[3])}
}

// log gives the logarithm of the prior density, less a constant.
func (p prior) log(v [4]float64) float64 {
	sum := 0.0
	for i := range v {
		z := (v[i] - p.at[i]) / p.spread[i]
		sum -= z * z / 2
	}
	return sum
}

// blunders marks values that no shop has: more than ten above four times what
// the weeks around and the same weeks of other years would explain. They are
// typing errors or a back-entry and left out. The rule is our own.
func blunders(s forecast.Series) []int {
	var out []int
	lag := s.Lag()
	near := make([]float64, 0, 8)
	for t, v := range s.Values {
		if !(v > 10) {
			continue
		}
		near = near[:0]
		for d := -4; d <= 4; d++ {
			if i := t + d; d != 0 && i >= 0 && i < len(s.Values) && !math.IsNaN(s.Values[i]) {
				near = append(near, s.Values[i])
			}
		}
		if len(near) < 4 {
			continue
		}
		like := forecast.NewEmpirical(near).Quantile(.75)
		if lag > 1 {
			for year := -lag; year <= lag; year += 2 * lag {
				for d := -1; d <= 1; d++ {
					if i := t + year + d; i >= 0 && i < len(s.Values) && s.Values[i] > like {
						like = s.Values[i]
					}
				}
			}
		}
		if v > 4*like+10 {
			out = append(out, t)
		}
	}
	return out
}
