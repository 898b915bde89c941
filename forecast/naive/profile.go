package naive

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
)

// Profile is what a careful person does with a spreadsheet: a smoothed year
// profile (for each step of the season, the mean of the same step and its
// neighbours over all past seasons) times the level of the last 26 steps
// against that profile. Its range is normal, from its own errors of the past.
// Common practice, no source.
type Profile struct {
	HalfWidth int // neighbours to either side with falling weight; 0 stands for 3
	Recent    int // steps that set the level; 0 stands for 26
}

func (Profile) String() string { return "year profile times recent level" }

// Fit takes the profile and the level. It returns a *forecast.TooShort if fewer
// steps were observed than a season has.
func (m Profile) Fit(s forecast.Series) (forecast.Fit, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if have, need := s.Observed(), s.Lag(); have < need {
		return nil, &forecast.TooShort{Model: m.String(), Need: need, Have: have}
	}
	if m.HalfWidth == 0 {
		m.HalfWidth = 3
	}
	if m.Recent == 0 {
		m.Recent = 26
	}
	f := &profileFit{series: s.Like(nil), n: s.Len(), shape: Shape(s, m.HalfWidth), level: 1}
	seen, usual := 0.0, 0.0
	for t := max(0, s.Len()-m.Recent); t < s.Len(); t++ {
		if v := s.Values[t]; !math.IsNaN(v) {
			seen += v
			usual += f.usual(t)
		}
	}
	if usual > 0 && seen > 0 {
		f.level = max(.1, min(10, seen/usual))
	}
	sum, n := 0.0, 0.0
	f.fitted = make([]float64, s.Len())
	for t, v := range s.Values {
		f.fitted[t] = f.usual(t)
		if !math.IsNaN(v) {
			sum += (v - f.fitted[t]) * (v - f.fitted[t])
			n++
		}
	}
	f.sd = math.Sqrt(sum / n)
	return f, nil
}

// Year is the profile of a season: a value for each whole step of it.
type Year []float64

// At gives the profile's value for step t of s, which may lie beyond its ends.
func (y Year) At(s forecast.Series, t int) float64 { return y[bin(s, t, len(y))] }

// Shape gives the smoothed profile of a season: the mean over all seasons,
// neighbours up to halfWidth steps away counting with triangular weight. Steps
// never observed get the overall mean.
func Shape(s forecast.Series, halfWidth int) Year {
	bins := s.Lag()
	sum, n := make([]float64, bins), make([]float64, bins)
	all, count := 0.0, 0.0
	for t, v := range s.Values {
		if !math.IsNaN(v) {
			k := bin(s, t, bins)
			sum[k] += v
			n[k]++
			all += v
			count++
		}
	}
	out := make(Year, bins)
	for k := range out {
		a, b := 0.0, 0.0
		for d := -halfWidth; d <= halfWidth; d++ {
			j := ((k+d)%bins + bins) % bins
			w := 1 - math.Abs(float64(d))/float64(halfWidth+1)
			a += w * sum[j]
			b += w * n[j]
		}
		out[k] = all / count
		if b > 0 {
			out[k] = a / b
		}
	}
	return out
}

// bin gives the step of the season that step t of s falls on.
func bin(s forecast.Series, t, bins int) int {
	_, frac := math.Modf(s.Phase(t))
	if frac < 0 {
		frac++
	}
	return min(bins-1, int(frac*float64(bins)))
}

type profileFit struct {
	series forecast.Series
	n      int
	shape  Year
	level  float64
	sd     float64
	fitted []float64
}

func (f *profileFit) usual(t int) float64 { return f.shape.At(f.series, t) }

// Fitted gives the profile; it was made of the values themselves.
func (f *profileFit) Fitted() []float64 { return append([]float64(nil), f.fitted...) }

func (f *profileFit) Forecast(h int) forecast.Forecast {
	if h < 1 {
		panic(fmt.Sprintf("forecast: need at least 1 step, have %d", h))
	}
	out := forecast.Forecast{Start: f.series.At(f.n), Step: f.series.Step, Dists: make([]forecast.Dist, h)}
	for j := range h {
		mu := f.level * f.usual(f.n+j)
		if out.Dists[j] = forecast.Point(mu); f.sd > 0 {
			out.Dists[j] = distuv.Normal{Mu: mu, Sigma: f.sd}
		}
	}
	return out
}

func (f *profileFit) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	out := forecast.NewPaths(f.series.At(f.n), f.series.Step, h, n)
	for i := range n {
		p := out.Path(i)
		for j := range p {
			p[j] = f.level*f.usual(f.n+j) + f.sd*rng.NormFloat64()
		}
	}
	return out
}
