package capacity

import (
	"math"
	"strings"
	"testing"

	"freshet/forecast"

	"pgregory.net/rapid"
)

// The numbers of the cases are hand arithmetic on 40 h × .85 = 34 h a week.
func TestHours(t *testing.T) {
	ann := Technician{Name: "Ann", WeeklyHours: 40, Productivity: .85}
	with := func(change func(*Technician)) Technician { u := ann; change(&u); return u }
	for name, c := range map[string]struct {
		tech            Technician
		off             []Absence
		from            forecast.Date
		paid, available []float64
	}{
		"usual":            {ann, nil, monday, []float64{40, 40}, []float64{34, 34}},
		"week begun":       {ann, nil, monday + 3, []float64{16, 40}, []float64{13.6, 34}},
		"begun on Sunday":  {ann, nil, monday + 6, []float64{0, 40}, []float64{0, 34}},
		"starts Wednesday": {with(func(u *Technician) { u.From = monday + 2 }), nil, monday, []float64{24, 40}, []float64{20.4, 34}},
		"leaves Tuesday":   {with(func(u *Technician) { u.Until = monday + 8 }), nil, monday, []float64{40, 16}, []float64{34, 13.6}},
		"time off is paid": {ann, []Absence{{"Ann", monday + 3, monday + 7}, {"Bo", monday, monday + 13}}, monday, []float64{40, 40}, []float64{20.4, 27.2}},
		// Half speed at the middle of a ramp of two weeks, quarter on average in its first: Monday noon .5/14, ...
		"ramp": {with(func(u *Technician) { u.From, u.Ramp = monday, 2 }), nil, monday, []float64{40, 40}, []float64{34 * 2.5 / 14, 34 * 9.5 / 14}},
	} {
		weeks := Crew{c.tech}.Hours(plainCalendar(), c.off, c.from, 2)
		for j, w := range weeks {
			near(t, name+": paid", w.Paid, c.paid[j], 1e-9)
			near(t, name+": available", w.Available, c.available[j], 1e-9)
			if w.Monday != monday+forecast.Date(7*j) || w.From != max(w.Monday, c.from) {
				t.Errorf("%s: week %d runs from %v, counted from %v", name, j, w.Monday, w.From)
			}
		}
	}
	near(t, "hours in Thanksgiving week",
		Crew{ann}.Hours(DefaultCalendar(), nil, forecast.NewDate(2026, 11, 23), 1)[0].Available, 34*3./5, 1e-9)
}

func TestHoursAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := rapid.Custom(func(t *rapid.T) forecast.Date { return monday + forecast.Date(rapid.IntRange(0, 70).Draw(t, "day")) })
		crew := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Technician {
			return Technician{Name: rapid.SampledFrom([]string{"Ann", "Bo"}).Draw(t, "name"), WeeklyHours: rapid.Float64Range(1, 60).Draw(t, "hours"),
				Productivity: rapid.Float64Range(.1, 1).Draw(t, "productivity"), From: day.Draw(t, "from"), Ramp: rapid.IntRange(0, 6).Draw(t, "ramp")}
		}), 1, 4).Draw(t, "crew")
		off := []Absence{{"Ann", day.Draw(t, "off"), monday + 70}}
		from := day.Draw(t, "today")
		for _, w := range Crew(crew).Hours(DefaultCalendar(), off, from, 12) {
			byTech := 0.0
			for _, h := range w.ByTechnician {
				byTech += h
			}
			if math.Abs(byTech-w.Available) > 1e-9 || w.Available > w.Paid+1e-9 || w.Available < 0 {
				t.Fatalf("week of %v: %v available of %v paid, %v by technician", w.Monday, w.Available, w.Paid, byTech)
			}
		}
	})
}

func TestCrewCheck(t *testing.T) {
	if err := storyCrew().Check(); err != nil {
		t.Error(err)
	}
	for want, u := range map[string]Technician{
		"weekly hours": {Name: "A", WeeklyHours: math.NaN(), Productivity: 1},
		"productivity": {Name: "A", WeeklyHours: 40, Productivity: 85},
		"hourly cost":  {Name: "A", WeeklyHours: 40, Productivity: 1, HourlyCost: -1},
		"to leave":     {Name: "A", WeeklyHours: 40, Productivity: 1, From: monday, Until: monday - 1},
		"ramp":         {Name: "A", WeeklyHours: 40, Productivity: 1, Ramp: -1},
	} {
		if err := (Crew{u}).Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, have %v", want, err)
		}
	}
	if err := (Crew{}).Check(); err == nil {
		t.Error("an empty crew passes")
	}
}

func TestCanMove(t *testing.T) {
	for _, c := range []struct {
		kind string
		job  OpenJob
		want bool
	}{
		{"Solar", OpenJob{Deferrable: true}, true},
		{"Solar", OpenJob{}, false},
		{"Solar", OpenJob{Deferrable: true, Emergency: true}, false},
		{"Roof reseal", OpenJob{Deferrable: true}, false},
		{"Awning", OpenJob{Deferrable: true, Waiting: true}, false},
	} {
		if c.job.CanMove(c.kind) != c.want {
			t.Errorf("%s %+v: want %v", c.kind, c.job, c.want)
		}
	}
}

func TestSafetyCritical(t *testing.T) {
	for kind, want := range map[string]bool{
		"LP gas leak": true, "CO alarm": true, "Brakes": true, "tires & wheels": true, "Hitch/tow": true, "ROOF": true, "electrical (shock)": true,
		"Awning": false, "Solar": false, "AC": false, "Cooktop": false, "Alpine stereo": false,
	} {
		if SafetyCritical(kind) != want {
			t.Errorf("%s: want %v", kind, want)
		}
	}
}

// Four in two bays take turns; with one of them off, three share the two.
func TestBays(t *testing.T) {
	cal := plainCalendar()
	cal.Bays = 2
	near(t, "four in two bays", storyCrew().Hours(cal, nil, monday, 1)[0].Available, 136./2, 1e-9)
	w := storyCrew().Hours(cal, []Absence{{"Ann", monday, monday}}, monday, 1)[0]
	near(t, "three in two bays on Monday", w.Available, 2*34, 1e-9)
	near(t, "Bo's part", w.ByTechnician[1], (2./3+4*.5)*34/5, 1e-9)
	cal.Bays = 4
	near(t, "bays enough", storyCrew().Hours(cal, nil, monday, 1)[0].Available, 136, 1e-9)
	if cal.Bays = -1; cal.Check() == nil {
		t.Error("fewer than no bays pass")
	}
}
