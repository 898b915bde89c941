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

import "freshet/forecast"

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

// Truths gives what is true of each job kind of Quillback Bend.
func Truths() []Truth {
	out := make([]Truth, len(kinds))
	for i, k := range kinds {
		out[i] = Truth{Kind: k.name, MeanHours: k.hours, spec: k}
	}
	return out
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
