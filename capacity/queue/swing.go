package queue

import "math"

// Swing is a season of arrivals, base + amplitude·sin(2πt/period) a unit of
// time, each of which stays for an exponential time with mean Stay whatever
// else is there. Period and Stay are above 0.
type Swing struct {
	Base, Amplitude, Period, Stay float64
}

// Lag is how long after the arrivals' peak the number present peaks,
// atan(ωs)/ω with ω = 2π/period (Eick, Massey and Whitt 1993, from memory).
func (s Swing) Lag() float64 {
	w := 2 * math.Pi / s.Period
	return math.Atan(w*s.Stay) / w
}

// PresentAmplitude is how far the mean number present swings about base × stay.
func (s Swing) PresentAmplitude() float64 {
	return s.Amplitude * s.Stay / math.Hypot(1, 2*math.Pi*s.Stay/s.Period)
}

// Present is the mean number present at time t, once the season has run for
// many stays.
func (s Swing) Present(t float64) float64 {
	return s.Base*s.Stay + s.PresentAmplitude()*math.Sin(2*math.Pi*(t-s.Lag())/s.Period)
}
