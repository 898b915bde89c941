package harmonic

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"freshet/forecast"
	"freshet/forecast/calendar"
)

// design says what the columns are: the level, then the trend if there is one,
// the regressors, and pairs of sine and cosine. With least < most, AICc
// chooses how many of the pairs are used.
type design struct {
	series      forecast.Series // for its dates and length: the values aren't kept
	n           int
	trend       bool
	damping     float64 // of the trend a step, 1: none
	regressors  []calendar.Regressor
	least, most int     // harmonics
	ridge       float64 // steps of a flat season that the harmonics are shrunk by
	x           *mat.Dense
	warnings    []error
}

// leastForTrend is the number of observed values below which a slope is
// mostly noise.
const leastForTrend = 10

// design lays out the columns for s, with errors of at least this order.
func (m Model) design(s forecast.Series, order int) (*design, error) {
	d := &design{n: s.Len(), trend: m.Trend != Flat, damping: 1, least: max(0, m.Harmonics), most: m.Harmonics}
	d.series = s.Like(nil)
	if m.Trend == Damped {
		d.damping = math.Exp(-1 / math.Max(s.Period, 12))
	}
	switch m.Harmonics {
	case None:
		d.most = 0
	case 0:
		d.most = min(mostHarmonics, resolved(s))
	}
	if d.trend && s.Observed() < leastForTrend {
		d.trend = false
		d.warn("no trend from fewer than %d values, have %d", leastForTrend, s.Observed())
	}
	if d.most > 0 {
		d.shorten(s)
	}
	if err := d.keepVarying(s, m.Regressors); err != nil {
		return nil, err
	}
	if need := d.cols(d.least) + order + 3; s.Observed() < need {
		return nil, &forecast.TooShort{Model: m.String(), Need: need, Have: s.Observed()}
	}
	// A chosen season leaves three values for each of its coefficients.
	d.most = max(d.least, min(d.most, (s.Observed()/3-d.cols(0))/2))
	d.x = mat.NewDense(d.n, d.cols(d.most), nil)
	for i := range d.n {
		d.row(i, d.x.RawRowView(i))
	}
	return d, nil
}

// shorten makes do with a history that doesn't show the season twice. Over
// such a history a trend can't be told from a season, so there is none.
func (d *design) shorten(s forecast.Series) {
	first, last := -1, 0
	for i, v := range s.Values {
		if !math.IsNaN(v) {
			if last = i; first < 0 {
				first = i
			}
		}
	}
	switch seasons := float64(last-first+1) / s.Period; {
	case seasons < 1:
		d.least, d.most, d.trend = 0, 0, false
		d.warn("no season or trend of its own from %.2g of a season: the level alone", seasons)
	case seasons < 2:
		d.most = min(d.most, mostShrunk)
		d.least = min(d.least, d.most)
		d.trend = false
		d.ridge = s.Period / 2
		d.warn("a season shrunk towards none, and no trend, from %.2g seasons", seasons)
	}
}

// keepVarying keeps the regressors whose effect the history can show.
func (d *design) keepVarying(s forecast.Series, all []calendar.Regressor) error {
	for _, r := range all {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i, y := range s.Values {
			v := r.At(s.At(i), s.Step)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("forecast: need finite values of regressor %q, have %v on %v", r.Name, v, s.At(i))
			}
			if !math.IsNaN(y) {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		if lo == hi {
			d.warn("regressor %q never varies in the history: left out", r.Name)
			continue
		}
		d.regressors = append(d.regressors, r)
	}
	return nil
}

func (d *design) warn(format string, args ...any) {
	d.warnings = append(d.warnings, errors.New("forecast: harmonic regression: "+fmt.Sprintf(format, args...)))
}

// cols gives the number of columns with this many harmonics.
func (d *design) cols(harmonics int) int {
	c := 1 + len(d.regressors) + 2*harmonics
	if d.trend {
		c++
	}
	return c
}

// row fills dst with the columns of step i, which may lie beyond the end, as
// far as dst goes.
func (d *design) row(i int, dst []float64) {
	dst[0] = 1
	j := 1
	if d.trend {
		dst[j] = d.time(i)
		j++
	}
	for _, r := range d.regressors {
		dst[j] = r.At(d.series.At(i), d.series.Step)
		j++
	}
	_, phase := math.Modf(d.series.Phase(i))
	for k := 1; j < len(dst); k++ {
		dst[j], dst[j+1] = math.Sincos(2 * math.Pi * float64(k) * phase)
		j += 2
	}
}

// time gives the trend's column: 1, 2, … n, then slowing down if damped.
func (d *design) time(i int) float64 {
	t := float64(i + 1)
	if i < d.n || d.damping == 1 {
		return t
	}
	n := float64(d.n)
	return n + d.damping*(1-math.Pow(d.damping, t-n))/(1-d.damping)
}

// names gives the columns' names.
func (d *design) names(harmonics int) []string {
	out := []string{"level"}
	if d.trend {
		out = append(out, "slope")
	}
	for _, r := range d.regressors {
		out = append(out, r.Name)
	}
	for k := range harmonics {
		out = append(out, fmt.Sprintf("sin%d", k+1), fmt.Sprintf("cos%d", k+1))
	}
	return out
}
