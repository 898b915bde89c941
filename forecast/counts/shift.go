package counts

import (
	"math"

	"freshet/forecast"

	"gonum.org/v1/gonum/floats"
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
	season []float64 // its coefficients, as found so far; nil before the first fit
	trough float64   // in cycles
	first  int       // the year of the first step
	late   []float64 // days, as found so far
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
	last := s.Phase(s.Len() - 1)
	y := &years{late: make([]float64, int(last-s.Phase(0))+2+toCome)}
	m.years = y
	f, q := m.pose(s)
	q.active = m.common(s.Period)
	for range 1 + inTurn {
		q.mode(fromVector(q.usual.at), near)
		season := make([]float64, 2*q.k)
		for j := range season {
			season[j] = f.beta[1+j] + q.beta[1+j]
		}
		if y.season == nil {
			y.trough = trough(season)
			y.first = int(math.Floor(s.Phase(0) - y.trough))
			q.active = m.delay(s.Period, y.of(last)+1)
		}
		y.season = season
		for i := range y.late {
			y.late[i] = q.beta[m.delay(s.Period, i)]
		}
		m.replace(q, s, f.beta)
	}
	f.found(q)
	return f
}

// replace puts the season where the years found so far say, with what was given
// of the coefficients, and leaves the mode as it is.
func (m Model) replace(q *problem, s forecast.Series, given []float64) {
	for t, known := range q.known {
		row := q.x[t*q.p : (t+1)*q.p]
		q.offset[t] = known + m.place(row, s, t) + floats.Dot(row, given)
	}
	q.again()
}

// trough gives a season's lowest place, in cycles, to a day or so.
func trough(season []float64) (at float64) {
	const places = 365
	lowest, row := 0.0, make([]float64, len(season))
	for i := range places {
		place := float64(i) / places
		harmonics(row, place)
		if height := floats.Dot(row, season); i == 0 || height < lowest {
			lowest, at = height, place
		}
	}
	return at
}
