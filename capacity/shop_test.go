package capacity

import (
	"math"
	"math/rand/v2"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"

	"gonum.org/v1/gonum/stat/distuv"
)

// The stories' shop: four technicians of 40 paid hours, 34 on jobs; wage 28
// and burden 12 % (methods of the project, section 6).
func storyCrew() Crew {
	var c Crew
	for _, name := range []string{"Ann", "Bo", "Cy", "Di"} {
		c = append(c, Technician{Name: name, WeeklyHours: 40, Productivity: .85, Skills: []string{"all"}, HourlyCost: 28 * 1.12})
	}
	return c
}

// plainCalendar has no holidays, so that every week has the same hours.
func plainCalendar() Calendar { return Calendar{Week: DefaultCalendar().Week} }

var monday = forecast.NewDate(2026, 1, 5)

// storyPlan is the stories' shop with work of one kind, that comes on Mondays,
// or on the plan's first day, in jobs of about size hours: then what is left at
// a week's end is to within a few jobs' hours what came and was left before,
// less the crew's hours.
func storyPlan(arriving forecast.Paths, size ...float64) Plan {
	each := .5
	if arriving.N() > 1 {
		each = 8
	}
	if len(size) > 0 {
		each = size[0]
	}
	p := Plan{From: monday, Calendar: plainCalendar(), Crew: storyCrew(), Kinds: []Demand{demand("work", each, arriving)}, Habits: plainHabits(1)}
	return p
}

func demand(kind string, size float64, hours forecast.Paths) Demand {
	jobs := forecast.NewPaths(hours.Start, hours.Step, hours.H, hours.N())
	for k, h := range hours.Values {
		jobs.Values[k] = math.Round(h / size)
	}
	return Demand{Kind: kind, Jobs: jobs, Hours: hours}
}

// plainHabits are of jobs that are all alike, need no parts and don't grow.
func plainHabits(kinds int) Habits {
	return Habits{Hours: make([][]float64, kinds), Growth: make([][]float64, kinds), Wait: make([][]float64, kinds),
		Needs: make([]float64, kinds), Rush: make([]float64, kinds), Later: make([]float64, kinds), Weekday: [7]float64{1: 1}}
}

// inShop is so many hours of open work in half-hour jobs of the first kind.
func inShop(hours float64) []OpenJob {
	jobs := make([]OpenJob, int(2*hours+.5))
	for i := range jobs {
		jobs[i] = OpenJob{DroppedOff: monday - 20, Quoted: .5}
	}
	return jobs
}

// canWait marks so many hours of them as deferrable.
func canWait(hours float64, jobs []OpenJob) []OpenJob {
	for i := range jobs[:int(2*hours+.5)] {
		jobs[i].Deferrable = true
	}
	return jobs
}

// storyData is the data of the rows story1_* and story2_*.
type storyData struct {
	WeeklyMean []float64 `json:"weekly_mean"`
	Mean       float64
	Size       float64
	HoursMean  float64 `json:"hours_mean"`
	HoursCV    float64 `json:"hours_cv"`
	Capacity   float64
}

// simulate draws n paths of hours: a gamma-Poisson number of drop-offs each
// week, a lognormal number of hours each, as reference.R does.
func (d storyData) simulate(n int, seed uint64) forecast.Paths {
	src := rand.NewPCG(seed, 0)
	rng := rand.New(src)
	s := math.Sqrt(math.Log(1 + d.HoursCV*d.HoursCV))
	m := math.Log(d.HoursMean) - s*s/2
	out := forecast.NewPaths(monday, forecast.Week, len(d.WeeklyMean), n)
	for k := range out.Values {
		mean := d.WeeklyMean[k%out.H]
		rate := distuv.Gamma{Alpha: d.Size, Beta: d.Size / mean, Src: src}.Rand()
		for range int(distuv.Poisson{Lambda: rate, Src: src}.Rand()) {
			out.Values[k] += math.Exp(m + s*rng.NormFloat64())
		}
	}
	return out
}

func storyRow(t testing.TB, id string) (r forecasttest.Reference, d storyData) {
	r = forecasttest.Ref(t, id)
	r.Into(t, &d)
	return r, d
}

// onePath makes a single path of weekly hours.
func onePath(hours ...float64) forecast.Paths {
	p := forecast.NewPaths(monday, forecast.Week, len(hours), 1)
	copy(p.Values, hours)
	return p
}

// evenPlan is a crew of five with c hours on jobs a week.
func evenPlan(c float64, arriving forecast.Paths) Plan {
	p := storyPlan(arriving)
	p.Crew = nil
	for _, name := range []string{"Ann", "Bo", "Cy", "Di", "Ed"} {
		p.Crew = append(p.Crew, Technician{Name: name, WeeklyHours: c / 5, Productivity: 1, Skills: []string{"all"}})
	}
	return p
}

func outcome(t testing.TB, p Plan) Outcome {
	t.Helper()
	return must[Outcome](t)(p.Outcome())
}

func near(t testing.TB, what string, have, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(have-want) <= tolerance) {
		t.Errorf("%s: want %v ± %v, have %v", what, want, tolerance, have)
	}
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
