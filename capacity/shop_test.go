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

func storyPlan(arriving forecast.Paths) Plan {
	return Plan{From: monday, Calendar: plainCalendar(), Crew: storyCrew(), Arriving: arriving}
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

// even gives n weeks of c hours, Monday to Friday.
func even(c float64, n int) []Week {
	crew := Crew{{Name: "all", WeeklyHours: c, Productivity: 1}}
	return crew.Hours(plainCalendar(), nil, monday, n)
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
