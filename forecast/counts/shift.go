package counts

import (
	"math"

	"freshet/forecast"
)

// A season that comes early is more than a high level: it will be over early
// too. Each year, from one season's trough to the next, is given its own days of
// delay and its own level, both normal around those of all years. The model
// isn't linear in the days, so they are found by fits in turn: each has the
// season at the places to which the days found before put it, and as a column by
// how much it rises a day there (a Taylor series' first term). Each year then
// tells of the season as if it had come on time, which is sharper than the mean of
// years that come early and late.

// A level from which a season's shift has been taken out is shorter-lived: the
// prior of its memory, our own.
const (
	memory       = .8
	memorySpread = 1 // on the logistic scale
)

// toCome is how many years get a shift of which the history knows nothing: what
// is left of the one that has begun, and what a plan may look ahead.
const toCome = 2

// inTurn is how many fits find the days.
const inTurn = 2

// years are those of a season, from one trough to the next.
type years struct {
	trough float64   // in cycles
	first  int       // the year of the first step
	late   []float64 // days, as found so far
	season []float64 // the season's coefficients, as found so far
}

func (y *years) len() int {
	if y == nil {
		return 0
	}
	return len(y.late)
}

// of gives the index of the year that a place belongs to, in cycles.
func (y *years) of(cycles float64) int {
	return max(0, min(len(y.late)-1, int(math.Floor(cycles-y.trough))-y.first))
}

// shifts tells whether a series has a season to be shifted: two years of it, or
// what is usual of its sort.
func (m Model) shifts(s forecast.Series) bool {
	return m.Shift > 0 && m.seasonal(s.Period) > 0 && (m.Usual != nil || float64(s.Observed()) >= 2*s.Period)
}

// shifted fits with years of their own. What their days are is found with the
// scales that are usual: they matter little for it, and seeking them costs most of
// a fit's time.
func (m Model) shifted(s forecast.Series) *Fit {
	f := m.roughly(s)
	at := f.trough()
	y := &years{trough: at, first: int(math.Floor(s.Phase(0) - at))}
	y.late = make([]float64, int(math.Floor(s.Phase(s.Len()-1)-at))+toCome-y.first+1)
	for range inTurn {
		y = &years{trough: y.trough, first: y.first, late: y.late, season: f.beta[1 : 1+len(f.season)]}
		m.years = y
		f = m.roughly(s)
		y.late = make([]float64, len(y.late))
		for i := range y.late {
			y.late[i] = f.beta[m.delay(s.Period, i)]
		}
	}
	y.season = f.beta[1 : 1+len(f.season)]
	m.years = y
	return m.fit(s)
}

// roughly fits with the scales that are usual.
func (m Model) roughly(s forecast.Series) *Fit {
	f := &Fit{model: m, series: s.Like(nil), n: s.Len(), steps: float64(s.Observed())}
	q := m.pose(s, f)
	f.scales = fromVector(q.usual.at)
	q.mode(f.scales, near)
	f.keep(q)
	return f
}

// trough gives the season's lowest place, in cycles, to a day or so.
func (f *Fit) trough() (at float64) {
	const places = 365
	lowest, season := 0.0, make([]float64, len(f.season))
	for i := range places {
		place, height := float64(i)/places, 0.0
		harmonics(season, place)
		for j, v := range season {
			height += v * f.beta[1+j]
		}
		if i == 0 || height < lowest {
			lowest, at = height, place
		}
	}
	return at
}
