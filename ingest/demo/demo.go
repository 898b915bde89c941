// Package demo makes the records of an invented repair shop, so that freshet
// can be tried without a shop's own file and tested against a known truth.
//
// Quillback Bend RV Repair stands in a high valley that doesn't exist: long
// snow, a short hot summer, four technicians at the most. Its drop-offs come
// from a seeded simulation: each job kind has its season, each year comes
// early or late, good or bad, weeks are rougher than chance alone, and one
// year's spring stays quiet until its late summer overflows. The crew then
// works the line day by day, so that the day a rig is ready follows from how
// full the lot was.
//
// Everything here is invented and fit for show and for tests of how the parts
// work together; no number in it says anything about a real shop. The package
// refuses to be a second way in: it writes the same files that a shop exports,
// and they are read by the same reader.
//
// The simulation runs forward in time: a longer one starts with the same
// days as a shorter one of the same seed.
package demo

import (
	"math"
	"math/rand/v2"

	"freshet/forecast"
)

// Name and Zone of the invented shop.
const (
	Name = "Quillback Bend RV Repair"
	Zone = "America/Denver"
)

// Spec says which history to invent.
type Spec struct {
	Seed    uint64
	From    forecast.Date // first day
	Until   forecast.Date // first day that has not happened yet
	OddYear int           // the year of the quiet spring and the late flood; 0 for none
	Planted []Planted     // further odd spells
	// Region is the seed of what shops of one region share: a season of its own,
	// and how each year's comes. The shop then departs from it in size, kinds,
	// season and hours. 0 is Quillback Bend itself.
	Region uint64
}

// Planted is a spell that multiplies the drop-offs of a kind, or of all kinds
// under the empty name. Days are included.
type Planted struct {
	Kind        string
	From, Until forecast.Date
	Times       float64
}

// Season is how one calendar year's season came: days late (early: below 0),
// and as a multiple of the usual one, growth included.
type Season struct {
	Year  int
	Late  float64
	Level float64
}

// SixYears is the history that the demo shows on a day: January 1 six seasons
// back until yesterday, with the odd spell in the last finished summer.
func SixYears(seed uint64, today forecast.Date) Spec {
	odd := today.Year()
	if today < forecast.NewDate(odd, 9, 20) {
		odd--
	}
	return Spec{Seed: seed, From: forecast.NewDate(today.Year()-6, 1, 1), Until: today, OddYear: odd}
}

// Line is one job line as the invented shop knows it on the last day.
type Line struct {
	RO                          int
	Kind, Unit, Note            string
	DroppedOff                  forecast.Date
	Quoted                      float64
	Clocked, Billed             float64 // 0 until ready
	PartsWait                   int     // days; -1: no part was needed
	Emergency, Deferrable       bool
	ComebackOf                  int           // a repair order, or 0
	Promised                    forecast.Date // what the counter said
	Ready, PickedUp             forecast.Date // 0 until it happens
	need, left                  float64       // true hours, and those still to be worked
	workable                    forecast.Date // when the part is in
	started                     bool
	partsArrive, leaves, closes forecast.Date
}

// Technician is one of the crew.
type Technician struct {
	Name         string
	WeeklyHours  float64
	Productivity float64 // clocked over paid hours
	Skills       string
	From, Until  forecast.Date // 0: from the start, no end
	HourlyCost   float64
}

// Absence is time off, or closed days of the whole shop under the name "shop".
type Absence struct {
	Name        string
	From, Until forecast.Date // both days included
}

// Event is something that happened to the shop's demand and that the owner
// knows of.
type Event struct {
	Name        string
	From, Until forecast.Date
	Effect      string
}

// Shop is an invented history.
type Shop struct {
	Spec    Spec
	Lines   []Line // in order of drop-off
	Crew    []Technician
	Off     []Absence
	Events  []Event
	Seasons []Season // what a forecaster has to find out
}

// Truth is what the simulation knows and a forecaster has to find out.
type Truth struct {
	Kind      string
	MeanHours float64 // a job's mean clocked hours
	spec      kind
}

// LongRun gives the mean drop-offs of the seven days from monday in a year
// that is neither early nor late, good nor bad, closed days included: the
// best forecast there is without knowing the year.
func (t Truth) LongRun(monday forecast.Date) float64 {
	sum := 0.0
	for d := monday; d < monday+7; d++ {
		sum += t.spec.rate(d, d, 1) * opening(d)
	}
	return sum
}

// Truths gives what is true of each job kind, in the order of Kinds.
func Truths() []Truth {
	out := make([]Truth, len(kinds))
	for i, k := range kinds {
		out[i] = Truth{Kind: k.name, MeanHours: k.hours, spec: k}
	}
	return out
}

// bump is one rise of a season: a von Mises shape around a day of the year.
type bump struct{ day, height, sharp float64 }

type kind struct {
	name      string
	weekly    float64 // mean drop-offs a week over a usual year
	base      float64
	bumps     []bump
	hours, cv float64 // lognormal clocked hours
	growth    float64 // chance that the job grows once opened
	parts     float64 // chance that a part is on order
	wait      float64 // median days of that wait
	urgent    float64 // chance of an emergency
	later     float64 // chance that it can wait
	skill     string
	notes     []string
	norm      float64
}

var kinds = []kind{
	{name: "cooling", weekly: 2.5, base: .15, bumps: []bump{{186, 3.4, 6}}, hours: 4.6, cv: .8, growth: .25, parts: .35, wait: 9, urgent: .12, later: .05, skill: "cooling",
		notes: []string{"roof unit blows warm", "cab air weak", "fridge not cold on gas", "compressor trips breaker", "thermostat dead"}},
	{name: "slide-outs and leveling", weekly: 2.3, base: .6, bumps: []bump{{140, 1.1, 3}}, hours: 6.8, cv: 1, growth: .4, parts: .4, wait: 14, urgent: .1, later: .1,
		notes: []string{"slide stops halfway", "jack leaks", "slide out of time", "leveling panel shows fault", "seal torn"}},
	{name: "electrical", weekly: 3.3, base: .7, bumps: []bump{{118, .8, 4}}, hours: 4.9, cv: 1, growth: .35, parts: .25, wait: 7, urgent: .12, later: .1,
		notes: []string{"house batteries flat", "converter hums", "no charge from engine", "lights dim", "shore cord burnt"}},
	{name: "appliances", weekly: 2.7, base: .55, bumps: []bump{{155, .9, 4}, {285, .8, 12}}, hours: 4.4, cv: .9, growth: .3, parts: .4, wait: 11, urgent: .08, later: .1, skill: "gas",
		notes: []string{"furnace board", "water heater won't light", "stove flame yellow", "fridge board", "furnace short cycles"}},
	{name: "plumbing", weekly: 2.5, base: .35, bumps: []bump{{112, 2.1, 7}}, hours: 4, cv: .9, growth: .3, parts: .2, wait: 6, urgent: .1, later: .1,
		notes: []string{"pump runs on", "frost-split line", "tank valve stuck", "leak under sink", "toilet seal"}},
	{name: "running gear", weekly: 2.1, base: .5, bumps: []bump{{125, 1.4, 4}}, hours: 6.1, cv: .8, growth: .35, parts: .3, wait: 8, urgent: .15, later: 0,
		notes: []string{"bearing hot", "brakes grab", "axle bent", "tires aged out", "spring shackle worn"}},
	{name: "exterior", weekly: 1.8, base: .8, bumps: []bump{{40, .5, 3}, {190, .4, 3}}, hours: 8.2, cv: 1.1, growth: .45, parts: .3, wait: 18, urgent: .05, later: .5,
		notes: []string{"roof leak at vent", "awning torn", "window seal", "ladder pulled loose", "hail on the cap"}},
	{name: "seasonal service", weekly: 2.6, base: .06, bumps: []bump{{103, 2.6, 22}, {284, 3.4, 24}}, hours: 2.4, cv: .4, growth: .1, parts: .04, wait: 5, urgent: 0, later: .3,
		notes: []string{"wake up from winter", "winterize", "roof wash and seal check", "bearing repack"}},
}

func init() {
	for i := range kinds {
		kinds[i].scale()
	}
}

// scale makes weekly the mean over a usual year.
func (k *kind) scale() {
	sum := 0.0
	for d := range 365 {
		sum += k.shape(float64(d))
	}
	k.norm = sum / 365
}

func (k kind) shape(dayOfYear float64) float64 {
	v := k.base
	for _, b := range k.bumps {
		v += b.height * math.Exp(b.sharp*(math.Cos(2*math.Pi*(dayOfYear-b.day)/365.25)-1))
	}
	return v
}

// rate gives the mean drop-offs of day d, were the shop open every weekday,
// with the season read off at day season of the year and that year's level.
func (k kind) rate(d, season forecast.Date, level float64) float64 {
	y := float64(season.Time().YearDay())
	return k.weekly * k.shape(y) / k.norm * weekday[d.Weekday()] * level
}

// weekday splits a week's drop-offs; on Saturdays a rig is left with the key
// in the night box.
var weekday = [7]float64{.01, .27, .20, .18, .17, .15, .02}

// opening gives the share of a usual day's drop-offs that come on d: closed
// days lose half of theirs, the other half is taken to come a day earlier or
// later and stays with the week.
func opening(d forecast.Date) float64 {
	if closed(d) {
		return .5
	}
	return 1
}

// closed says whether the shop shuts on d for a holiday: common practice, no
// source.
func closed(d forecast.Date) bool {
	t := d.Time()
	day, wd := t.Day(), d.Weekday()
	switch t.Month() {
	case 1:
		return day == 1
	case 5:
		return wd == 1 && day > 24
	case 7:
		return day == 4
	case 9:
		return wd == 1 && day <= 7
	case 11:
		return wd == 4 && day > 21 && day <= 28 || wd == 5 && day > 22 && day <= 29
	case 12:
		return day >= 24
	}
	return false
}

// Generate invents a history.
func Generate(spec Spec) Shop {
	s := Shop{Spec: spec}
	s.staff()
	arrive := newArrivals(spec)
	bench := newBench(spec.Seed, &s)
	for d := spec.From; d < spec.Until; d++ {
		bench.take(arrive.day(d))
		bench.work(d)
	}
	bench.finish()
	s.Seasons = arrive.seasons
	return s
}

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
