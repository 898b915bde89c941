package counts

import (
	"math"

	"freshet/forecast"
)

// A season that comes early is more than a high level: it will be over early
// too. Each year, from one season's trough to the next, is given its own days of
// delay, normal around 0. They are found in a second fit, whose columns are by
// how much the season found in the first rises a day (a Taylor series' first
// term), so that each year also tells of the season as if it had come on time.

// A level from which a season's shift has been taken out is shorter-lived: the
// prior of its memory, our own.
const (
	memory       = .8
	memorySpread = 1 // on the logistic scale
)

// toCome is how many years get a shift of which the history knows nothing: what
// is left of the one that has begun, and what a plan may look ahead.
const toCome = 2

// shifted fits anew with a shift for each year, where there is a season to be
// shifted: two years of it, or what is usual of its sort.
func (f *Fit) shifted(s forecast.Series) *Fit {
	m := f.model
	if k := m.seasonal(s.Period); m.Shift == 0 || k == 0 || m.Usual == nil && f.steps < 2*s.Period {
		return f
	}
	trough := f.trough()
	year := func(i int) int { return int(math.Floor(s.Phase(i) - trough)) }
	step := func(start forecast.Date) int { return int(start-s.Start) / s.Step }
	m.Columns = m.Columns[:len(m.Columns):len(m.Columns)]
	for y := year(0); y <= year(f.n-1)+toCome; y++ {
		m.Columns = append(m.Columns, Column{Name: "days late", Spread: m.Shift, At: func(start forecast.Date, _ int) float64 {
			i := step(start)
			if year(i) != y {
				return 0
			}
			return -f.rise(s.Phase(i)) / (s.Period * float64(s.Step))
		}})
	}
	return m.fit(s)
}

// rise gives the slope of the log season at a place in the year, in cycles.
func (f *Fit) rise(phase float64) (slope float64) {
	for j := 1; j <= len(f.season)/2; j++ {
		w := 2 * math.Pi * float64(j)
		sin, cos := math.Sincos(w * phase)
		slope += w * (f.beta[2*j-1]*cos - f.beta[2*j]*sin)
	}
	return slope
}

// trough gives the season's lowest place, in cycles, to a day or so.
func (f *Fit) trough() (at float64) {
	const places = 365
	lowest, height := 0., 0. // the season's height, from its slope
	for i := range places {
		if height < lowest {
			lowest, at = height, float64(i)/places
		}
		height += f.rise((float64(i)+.5)/places) / places
	}
	return at
}
