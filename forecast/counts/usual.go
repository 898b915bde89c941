package counts

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Lesson is what one series taught of its season and its roughness, in a form
// that can be kept: what Pool takes in.
type Lesson struct {
	Steps float64 // observed
	// Info is the precision that the series alone gives its season's
	// coefficients (sine and cosine of each harmonic), row by row, and Pull is
	// Info times the coefficients that it makes likeliest.
	Info, Pull       []float64
	Rho, Sigma, Size float64
}

// Usual is what many series of one sort have in common: the prior of one more
// of them. Pool makes it; it may be kept as JSON.
type Usual struct {
	Season []float64  // means of the season's coefficients
	Spread []float64  // a further series' standard deviations around them
	Series float64    // how many stand behind it, each by its share of a well-known one
	Scales [4]float64 // medians of logit rho, ln sigma, the season's ln strength (not used), ln size
	Loose  [4]float64 // their standard deviations
}

// Lesson gives what the fit's series taught, with what was taken for granted
// left out again. Its season is empty where the fit has none.
func (f *Fit) Lesson() Lesson {
	l := Lesson{Steps: f.steps, Rho: f.scales.rho, Sigma: f.scales.sigma, Size: f.scales.size}
	n, p := 2*f.model.seasonal(f.series.Period), len(f.beta)
	if n == 0 {
		return l
	}
	// The other coefficients are integrated out: their part of the covariance is
	// dropped, and the season's turned back into a precision.
	spread := mat.NewSymDense(n, nil)
	e, rows := make([]float64, p), make([][]float64, n)
	for i := range rows {
		clear(e)
		e[1+i] = 1
		f.chol.solveTransposed(e)
		rows[i] = append([]float64(nil), e...)
		for j := range rows[:i+1] {
			dot := 0.0
			for k, v := range e {
				dot += v * rows[j][k]
			}
			spread.SetSym(i, j, dot)
		}
	}
	precision := inverse(spread)
	l.Info, l.Pull = make([]float64, n*n), make([]float64, n)
	for i := range n {
		for j := range n {
			v := precision.At(i, j)
			l.Pull[i] += v * f.beta[1+j]
			l.Info[i*n+j] = v
		}
		l.Info[i*n+i] -= f.season[i]
		if u := f.model.Usual; u != nil {
			l.Pull[i] -= f.season[i] * u.Season[i]
		}
	}
	return l
}

func inverse(s *mat.SymDense) *mat.SymDense {
	var c mat.Cholesky
	if !c.Factorize(s) {
		panic("counts: a covariance isn't positive definite")
	}
	var out mat.SymDense
	if err := c.InverseTo(&out); err != nil {
		panic(fmt.Sprintf("counts: a covariance can't be inverted: %v", err))
	}
	return &out
}

// What a group's series are taken to be before anything is known of them, our
// own: seasons half as far apart as they are strong, worth two series; and a
// series that counts by half after a year.
const (
	apart     = .5
	priorWith = 2
	halfKnown = 52
)

// known is the share of a well-known series that a lesson stands for.
func (l Lesson) known() float64 { return l.Steps / (l.Steps + halfKnown) }

// Pool finds what series of one sort have in common. Each one's season is taken
// to be normal around a common one, and the common season and the spread of
// each coefficient are found by the EM algorithm (Dempster, Laird and Rubin
// 1977; as the linear mixed model of Laird and Ware 1982, section 4; both from
// memory), so that a series counts by what it knows. Lessons whose season has
// other harmonics are left out; without any it gives nil.
func Pool(lessons []Lesson, harmonics int) *Usual {
	n := 2 * harmonics
	u := &Usual{Season: make([]float64, n), Spread: make([]float64, n)}
	var of []Lesson
	at, weight := usual.vector(), 1.0
	for _, l := range lessons {
		if len(l.Pull) != n || len(l.Info) != n*n {
			continue
		}
		of = append(of, l)
		w := l.known()
		u.Series += w
		for i, v := range (scales{l.Rho, l.Sigma, usual.season, l.Size}).vector() {
			at[i] += (v - at[i]) * w / (weight + w) // the running mean
		}
		weight += w
	}
	if len(of) == 0 {
		return nil
	}
	u.Scales = at
	for i, s := range usualSpread {
		u.Loose[i] = s * math.Sqrt(.25+.75/weight) // no closer than half
	}
	mean := mat.NewVecDense(n, u.Season)
	between, own, broad := make([]float64, n), make([]float64, n), make([]float64, n)
	for j := range n {
		sd := usual.season / float64(j/2+1)
		broad[j] = sd * sd
		own[j] = apart * apart * broad[j]
		between[j] = own[j]
	}
	const sweeps = 60
	information := mat.NewSymDense(n, nil) // on the mean, by all series
	for range sweeps {
		sum, square := make([]float64, n), make([]float64, n)
		information.Zero()
		for _, l := range of {
			precision := mat.NewSymDense(n, nil)
			pull := mat.NewVecDense(n, nil)
			for i := range n {
				for j := range i + 1 {
					precision.SetSym(i, j, (l.Info[i*n+j]+l.Info[j*n+i])/2)
				}
				precision.SetSym(i, i, precision.At(i, i)+1/between[i])
				pull.SetVec(i, l.Pull[i]+mean.AtVec(i)/between[i])
			}
			spread := inverse(precision)
			var b mat.VecDense
			b.MulVec(spread, pull)
			for i := range n {
				d := b.AtVec(i) - mean.AtVec(i)
				sum[i] += b.AtVec(i)
				square[i] += d*d + spread.At(i, i)
				for j := range i + 1 {
					v := -spread.At(i, j) / between[i] / between[j]
					if i == j {
						v += 1 / between[i]
					}
					information.SetSym(i, j, information.At(i, j)+v)
				}
			}
		}
		for i := range n {
			mean.SetVec(i, sum[i]/between[i]/(float64(len(of))/between[i]+1/broad[i]))
			between[i] = (priorWith*own[i] + square[i]) / (priorWith + float64(len(of)))
		}
	}
	for i := range n {
		information.SetSym(i, i, information.At(i, i)+1/broad[i])
	}
	doubt := inverse(information)
	for i := range n {
		u.Spread[i] = math.Sqrt(between[i] + doubt.At(i, i))
	}
	return u
}
