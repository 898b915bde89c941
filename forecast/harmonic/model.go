// Package harmonic forecasts by regression on a trend, the sines and cosines
// of the season, and quantities known for the future, with autocorrelated
// errors.
//
// It suits a season that comes back with the date and the weather, of any
// length in steps, 52.18 weeks included: the angle is taken from the date, so
// that 53-week years don't drift (Hyndman and Athanasopoulos, Forecasting:
// Principles and Practice, 3rd edition, section 13.1). The errors are an
// autoregression fitted by exact maximum likelihood, gaps and all.
//
// Its ranges hold the uncertainty of every coefficient and the pile-up of
// errors, but take the autoregression's constants, the number of harmonics and
// the model itself as known. It refuses to make up a season: a history shorter
// than one season gives a level alone, one shorter than two a season shrunk
// towards none, and a warning says so. It isn't for counts near 0.
//
// To use it: Model{} chooses all by itself; set fields to choose otherwise,
// and give Regressors from package calendar. Fit it, then ask for Forecast or
// Simulate.
package harmonic

import (
	"fmt"
	"math"

	"freshet/forecast"
	"freshet/forecast/calendar"
)

// None, as Harmonics or Autoregression, asks for none; 0 lets the corrected
// Akaike criterion (AICc) choose.
const None = -1

const (
	mostHarmonics = 6 // that AICc may choose
	mostShrunk    = 2 // of a history shorter than two seasons
	maxOrder      = 3 // of the autoregression
)

// Trend is the shape of the trend.
type Trend int

const (
	// Damped is straight in the past and levels out in the future: each step
	// rises exp(-1/m) times as much as the one before, m the steps in a
	// season, at least 12.
	Damped Trend = iota
	// Linear goes on straight.
	Linear
	// Flat is no trend.
	Flat
)

func (t Trend) String() string {
	switch t {
	case Damped:
		return "damped trend"
	case Linear:
		return "linear trend"
	case Flat:
		return "no trend"
	}
	return fmt.Sprintf("Trend(%d)", int(t))
}

// Model is harmonic regression. The zero value has a damped trend, and as many
// harmonics and as long a memory of errors as AICc chooses.
type Model struct {
	Harmonics      int   // pairs of sine and cosine, 0: chosen from none to 6
	Trend          Trend // of the values, or of their logarithms
	Log            bool  // model the logarithm: a season in proportion to the level
	Autoregression int   // steps of error remembered, to 3; 0: chosen
	Regressors     []calendar.Regressor
}

// String names the model and its settings.
func (m Model) String() string {
	number := func(n int) string {
		switch n {
		case None:
			return "no"
		case 0:
			return "chosen"
		}
		return fmt.Sprint(n)
	}
	s := fmt.Sprintf("harmonic regression (%s harmonics, %v, %s autoregression", number(m.Harmonics), m.Trend, number(m.Autoregression))
	if m.Log {
		s += ", logarithms"
	}
	for _, r := range m.Regressors {
		s += ", " + r.Name
	}
	return s + ")"
}

// Fit estimates the model. It returns an error if the series fails Check, if
// Log is set and a value isn't positive, if a regressor isn't finite, if the
// columns can't be told apart, and a *[forecast.TooShort] if there are fewer
// than three more observed values than constants. It panics if a setting is
// out of range, or if Harmonics isn't below half the period.
func (m Model) Fit(s forecast.Series) (forecast.Fit, error) {
	if m.Harmonics < None || m.Autoregression < None || m.Autoregression > maxOrder || m.Trend < Damped || m.Trend > Flat {
		panic(fmt.Sprintf("harmonic: need settings in range, have %+v", m))
	}
	if err := s.Check(); err != nil {
		return nil, err
	}
	if m.Harmonics > resolved(s) {
		panic(fmt.Sprintf("harmonic: need fewer harmonics than half the period of %v, have %d", s.Period, m.Harmonics))
	}
	y, err := m.values(s)
	if err != nil {
		return nil, err
	}
	least, most := m.orders(s.Observed())
	d, err := m.design(s, least)
	if err != nil {
		return nil, err
	}
	f, err := estimate(y, d, least, most)
	if err != nil {
		return nil, fmt.Errorf("forecast: %s: %w", m, err)
	}
	f.log = m.Log
	return f, nil
}

// values gives what is regressed: the values or their logarithms.
func (m Model) values(s forecast.Series) ([]float64, error) {
	y := make([]float64, s.Len())
	for i, v := range s.Values {
		if m.Log && v <= 0 {
			return nil, fmt.Errorf("forecast: %s needs values above 0, have %v at step %d", m, v, i+1)
		}
		if y[i] = v; m.Log {
			y[i] = math.Log(v)
		}
	}
	return y, nil
}

// orders gives the least and most order of the autoregression: a chosen one
// remembers no more than a fifteenth of what was seen.
func (m Model) orders(observed int) (least, most int) {
	switch m.Autoregression {
	case None:
		return 0, 0
	case 0:
		return 0, min(maxOrder, observed/15)
	}
	return m.Autoregression, m.Autoregression
}

// resolved gives the most harmonics that a season of this many steps shows.
func resolved(s forecast.Series) int { return max(0, int(math.Ceil(s.Period/2))-1) }
