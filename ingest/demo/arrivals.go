package demo

import (
	"math"
	"math/rand/v2"

	"freshet/forecast"
)

// arrivals draws who comes. It has its own random source, so that the crew's
// luck doesn't change who comes.
type arrivals struct {
	spec    Spec
	kinds   []kind
	rng     *rand.Rand
	rough   float64 // this week's common roughness, log scale, first-order autoregressive
	week    []float64
	shift   float64 // this year's delay in days
	level   float64
	seasons []Season
	ro      int
	lastRO  int
}

func newArrivals(spec Spec) *arrivals {
	return &arrivals{spec: spec, kinds: spec.kinds(), rng: rand.New(rand.NewPCG(spec.Seed, 1)), week: make([]float64, len(kinds)), level: 1, ro: 4100}
}

func (a *arrivals) day(d forecast.Date) []Line {
	t := d.Time()
	if d == a.spec.From || t.Month() == 1 && t.Day() == 1 {
		shift, level := a.rng.NormFloat64(), a.rng.NormFloat64()
		if a.spec.Region != 0 { // a part of a year's luck is the region's
			region := rand.New(rand.NewPCG(a.spec.Region, uint64(t.Year())))
			shift, level = .6*shift+.8*region.NormFloat64(), .8*level+.6*region.NormFloat64()
		}
		a.shift = 8 * shift
		a.level = math.Exp(.06*level) * math.Pow(1.01, float64(d-a.spec.From)/365.25)
		a.seasons = append(a.seasons, Season{t.Year(), a.shift, a.level})
	}
	if d == a.spec.From || d.Weekday() == 1 {
		a.rough = .75*a.rough + .07*a.rng.NormFloat64()
		for i := range a.week {
			a.week[i] = gamma(a.rng, 9) / 9
		}
	}
	var out []Line
	a.lastRO = 0
	for i, k := range a.kinds {
		mu := k.rate(d, d-forecast.Date(math.Round(a.shift)), a.level) * opening(d) * math.Exp(a.rough) * a.week[i] * odd(a.spec.OddYear, d, k.name) * a.spec.planted(d, k.name)
		for range poisson(a.rng, mu) {
			out = append(out, a.line(d, k))
		}
	}
	return out
}

// odd is the spell that the owner asks about: spring at six tenths, then a
// late-summer flood that is mostly cooling, electrical and running gear.
func odd(year int, d forecast.Date, kind string) float64 {
	t := d.Time()
	if t.Year() != year {
		return 1
	}
	switch day := t.YearDay(); {
	case day >= 90 && day < 165:
		return .6
	case day >= 215 && day < 257:
		switch kind {
		case "cooling":
			return 2.8
		case "electrical", "running gear":
			return 2
		}
		return 1.4
	}
	return 1
}

func (s Spec) planted(d forecast.Date, kind string) float64 {
	times := 1.0
	for _, p := range s.Planted {
		if p.From <= d && d <= p.Until && (p.Kind == "" || p.Kind == kind) {
			times *= p.Times
		}
	}
	return times
}

func (a *arrivals) line(d forecast.Date, k kind) Line {
	r := a.rng
	l := Line{Kind: k.name, DroppedOff: d, PartsWait: -1}
	// A rig seldom comes with one complaint only.
	if a.lastRO == 0 || r.Float64() > .25 {
		a.ro++
		a.lastRO = a.ro
	}
	l.RO = a.lastRO
	l.Unit = units[r.IntN(len(units))]
	l.Note = k.notes[r.IntN(len(k.notes))]
	sigma := math.Sqrt(math.Log(1 + k.cv*k.cv))
	l.need = max(.3, k.hours*math.Exp(sigma*r.NormFloat64()-sigma*sigma/2))
	l.Quoted = l.need
	if r.Float64() < k.growth {
		l.Quoted = l.need / (1.3 + .6*r.ExpFloat64())
	}
	l.Quoted = max(.5, math.Round(2*l.Quoted)/2)
	l.need = math.Round(10*l.need) / 10
	l.left = l.need
	l.workable, l.partsArrive = d, d
	if r.Float64() < k.parts {
		l.PartsWait = int(math.Ceil(k.wait * math.Exp(.7*r.NormFloat64())))
		l.workable = d + forecast.Date(l.PartsWait)
		l.partsArrive = l.workable
	}
	switch u := r.Float64(); {
	case u < k.urgent:
		l.Emergency = true
	case u < k.urgent+k.later:
		l.Deferrable = true
	}
	if d.Weekday() == 6 || d.Weekday() == 0 {
		l.Emergency = l.Emergency || r.Float64() < .6
		l.Deferrable = false
	}
	l.leaves = forecast.Date(r.IntN(5))
	return l
}

var units = []string{"class A motorhome", "class C motorhome", "camper van", "travel trailer", "travel trailer", "fifth wheel", "fifth wheel", "pop-up trailer", "truck camper"}
