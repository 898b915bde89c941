// Package stl splits a series into season, trend and remainder by loess, and
// forecasts with the parts: STL of Cleveland, Cleveland, McRae and Terpenning
// (1990, Journal of Official Statistics 6, 3-73), with the numbers of R's
// stats::stl.
//
// [Decompose] is the method itself, [Multi] takes several seasons in turn, and
// [Model] forecasts the seasonally adjusted series by another Model and adds
// the last season back.
//
// A step that was not observed has no weight; its trend and season are those
// of its neighbours, its remainder is NaN. A period that isn't whole, such as
// the 52.18 weeks of a year, is laid on m = Lag cells of the year by date:
// cell floor(m × phase), so that a week always meets the same weeks of other
// years. Two weeks that fall into one cell (once in some six years) are
// averaged there; a cell without a week counts as not observed.
//
// The package refuses a series of two seasons or less. To use it: choose
// Settings (the zero value is R's stl with a seasonal window of 7), then
// Decompose, or fit a Model.
package stl

import (
	"fmt"
	"math"

	"freshet/forecast"
)

// Settings says how smooth each part is. The zero value gives R's defaults
// with a seasonal window of 7, the least that the authors advise.
type Settings struct {
	// Season smooths each position's values over the years: 7 years, by
	// constants. Trend smooths what is left: the least odd window of
	// 1.5m/(1-1.5/Season.Window) or more, by lines. LowPass takes the trend
	// out of the season: the least odd window of m or more, by lines.
	Season, Trend, LowPass Smoother
	Periodic               bool // the season never changes; Season is ignored
	Robust                 bool // outliers lose their weight
	Inner                  int  // passes of the inner loop; 0: 2, or 1 if Robust
	Outer                  int  // times that weights are found anew; 0: none, or 15 if Robust
}

// Smoother is one loess. A window below 3 counts as 3 and an even one as the
// next odd one; 0 is the default of its part. Jump is the steps from one
// fitted value to the next, with straight lines between; 0 is a tenth of the
// window, rounded up.
type Smoother struct {
	Window int
	Degree Degree
	Jump   int
}

// Degree is the degree of a Smoother's local polynomials.
type Degree int

// Degrees. Default is Constant for the season and Line for trend and low-pass.
const (
	Default Degree = iota
	Constant
	Line
)

// Decompose splits s. Season and trend cover every step.
//
// It returns a *forecast.TooShort if s is not longer than two seasons, and an
// error if s has no season or fewer than half of its steps observed.
func Decompose(s forecast.Series, o Settings) (forecast.Decomposition, error) {
	p, err := split(s, o)
	if err != nil {
		return forecast.Decomposition{}, err
	}
	n := s.Len()
	trend, seasonal, remainder := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, y := range s.Values {
		c := p.cell(i)
		trend[i], seasonal[i] = p.trend[c], p.seasonal[c]
		remainder[i] = y - trend[i] - seasonal[i]
	}
	return forecast.Decomposition{Trend: s.Like(trend), Seasonal: s.Like(seasonal), Remainder: s.Like(remainder)}, nil
}

// parts are season and trend by cell.
type parts struct {
	grid
	seasonal, trend []float64
}

func split(s forecast.Series, o Settings) (parts, error) {
	if err := s.Check(); err != nil {
		return parts{}, err
	}
	m, n := s.Lag(), s.Len()
	switch seen := s.Observed(); {
	case m < 2:
		return parts{}, fmt.Errorf("forecast: stl needs a season of 2 steps or more, have %d", m)
	case n <= 2*m:
		return parts{}, &forecast.TooShort{Model: fmt.Sprintf("stl with period %d", m), Need: 2*m + 1, Have: n}
	case 2*seen < n:
		return parts{}, fmt.Errorf("forecast: stl needs half of %d steps observed, have %d", n, seen)
	}
	g := newGrid(s)
	y, weight := g.lay(s)
	w := newWork(y, weight, m, o)
	w.run()
	return parts{g, w.seasonal, w.trend}, nil
}

// work is one run of the algorithm. All series have a value a cell.
type work struct {
	m                      int
	y                      []float64
	observed               []float64 // 1 or 0, nil if all are 1
	seasonal, trend        []float64
	weight                 []float64 // in use: observed at first, then robust
	robust                 []float64 // the outer loop's, nil at first
	season, trending, pass *loess
	inner, outer           int
	periodic               bool

	rest            []float64 // of y without one part, or its errors
	cycle, low, mid []float64 // two seasons longer than y
	sub, subWeight  []float64 // one position's values
	subOut          []float64 // and one more at either end
}

func newWork(y, observed []float64, m int, o Settings) *work {
	n := len(y)
	season := o.Season
	if o.Periodic {
		season = Smoother{Window: 10*n + 1}
	}
	if season.Window == 0 {
		season.Window = 7
	}
	inner, outer := o.Inner, o.Outer
	if inner < 1 {
		inner = 2
		if o.Robust {
			inner = 1
		}
	}
	if outer < 1 && o.Robust {
		outer = 15
	}
	// R takes the default from the window as given, and so do we.
	trend := int(math.Ceil(1.5 * float64(m) / (1 - 1.5/float64(season.Window))))
	years := (n + m - 1) / m
	long := n + 2*m
	return &work{
		m: m, y: y, observed: observed, weight: observed,
		seasonal: make([]float64, n), trend: make([]float64, n),
		season: season.loess(7, Constant, years), trending: o.Trend.loess(trend, Line, n), pass: o.LowPass.loess(m, Line, n),
		inner: inner, outer: outer, periodic: o.Periodic,
		rest:  make([]float64, n),
		cycle: make([]float64, long), low: make([]float64, long), mid: make([]float64, long),
		sub: make([]float64, years), subWeight: make([]float64, years), subOut: make([]float64, years+2),
	}
}

func (s Smoother) loess(window int, degree Degree, n int) *loess {
	if s.Window != 0 {
		window = s.Window
	}
	if s.Degree != Default {
		degree = s.Degree
	}
	window = max(window, 3) | 1
	jump := s.Jump
	if jump < 1 {
		jump = (window + 9) / 10
	}
	return newLoess(window, int(degree-Constant), jump, n)
}

// run is the outer loop (section 2.4).
func (w *work) run() {
	for k := 0; ; k++ {
		for range w.inner {
			w.pass1()
		}
		if k == w.outer {
			break
		}
		w.reweigh()
	}
	if w.periodic {
		for k := range w.m {
			mean, n := 0.0, 0.0
			for i := k; i < len(w.y); i += w.m {
				mean += w.seasonal[i]
				n++
			}
			for i := k; i < len(w.y); i += w.m {
				w.seasonal[i] = mean / n
			}
		}
	}
}

// pass1 is the inner loop (section 2.3): its steps 1 to 6.
func (w *work) pass1() {
	n, m := len(w.y), w.m
	for i, y := range w.y {
		w.rest[i] = y - w.trend[i]
	}
	w.smoothCycles()
	// Means over a season, another and three steps leave n of the n+2m values.
	average(w.cycle, m, w.low)
	average(w.low[:n+m+1], m, w.mid)
	average(w.mid[:n+2], 3, w.low)
	w.pass.smooth(w.low[:n], nil, w.mid[:n])
	for i := range w.seasonal {
		w.seasonal[i] = w.cycle[m+i] - w.mid[i]
		w.rest[i] = w.y[i] - w.seasonal[i]
	}
	w.trending.smooth(w.rest, w.weight, w.trend)
}

// smoothCycles smooths each position's values over the years, with one more
// at either end, into w.cycle.
func (w *work) smoothCycles() {
	for k := range w.m {
		n := 0
		var weight []float64
		if w.weight != nil {
			weight = w.subWeight
		}
		for i := k; i < len(w.rest); i += w.m {
			w.sub[n] = w.rest[i]
			if weight != nil {
				weight[n] = w.weight[i]
			}
			n++
		}
		if weight != nil {
			weight = weight[:n]
		}
		sub, out := w.sub[:n], w.subOut[:n+2]
		w.season.smooth(sub, weight, out[1:n+1])
		reach := min(w.season.window, n)
		out[0] = w.season.at(sub, weight, -1, 0, reach-1, out[1])
		out[n+1] = w.season.at(sub, weight, float64(n), n-reach, n-1, out[n])
		for j, v := range out {
			w.cycle[j*w.m+k] = v
		}
	}
}

// average writes the moving average of v over length steps into the first
// len(v)-length+1 values of out.
func average(v []float64, length int, out []float64) {
	sum := 0.0
	for _, x := range v[:length] {
		sum += x
	}
	out[0] = sum / float64(length)
	for i := length; i < len(v); i++ {
		sum += v[i] - v[i-length]
		out[i-length+1] = sum / float64(length)
	}
}

// reweigh gives each value the bisquare weight of its error over six times
// the median one; a value that wasn't observed keeps none.
func (w *work) reweigh() {
	if w.robust == nil {
		w.robust = make([]float64, len(w.y))
	}
	w.weight = w.robust
	seen := w.low[:0]
	for i, y := range w.y {
		w.rest[i] = math.Abs(y - w.seasonal[i] - w.trend[i])
		if w.observed == nil || w.observed[i] > 0 {
			seen = append(seen, w.rest[i])
		}
	}
	h := median6(seen)
	for i, r := range w.rest {
		w.weight[i] = bisquare(r, h)
		if w.observed != nil {
			w.weight[i] *= w.observed[i]
		}
	}
}

func bisquare(r, h float64) float64 {
	switch {
	case r <= .001*h:
		return 1
	case r > .999*h:
		return 0
	}
	q := 1 - r/h*(r/h)
	return q * q
}
