package desk

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/demo"

	"gonum.org/v1/gonum/stat"
)

// To measure over more seasons, and on the chance to be short:
//
//	go test ./cmd/freshet/internal/desk -run 'FollowingTheAdvice|ChanceShort' -v -timeout 1h -seasons 20 -books 50
var (
	seasons = flag.Int("seasons", 0, "number of invented shops whose last season is run through with and without the advice")
	books   = flag.Int("books", 1, "number of invented shops on which the chance to be short is checked")
)

// crewOf gives an invented shop's calendar, crew and time off as the desk
// would make them.
func crewOf(shop demo.Shop) (capacity.Calendar, capacity.Crew, []capacity.Absence) {
	calendar := capacity.DefaultCalendar()
	calendar.Days = map[forecast.Date]float64{}
	var off []capacity.Absence
	for _, a := range shop.Off {
		if a.Name != "shop" {
			off = append(off, capacity.Absence{Name: a.Name, From: a.From, Until: a.Until})
			continue
		}
		for d := a.From; d <= a.Until; d++ {
			calendar.Days[d] = 0
		}
	}
	var crew capacity.Crew
	for _, t := range shop.Crew {
		crew = append(crew, capacity.Technician{Name: t.Name, WeeklyHours: t.WeeklyHours, Productivity: t.Productivity, Skills: []string{"all"},
			From: t.From, Until: t.Until, HourlyCost: t.HourlyCost})
	}
	return calendar, crew, off
}

// The chance that a week brings more hours than the crew has, said 1 to 13
// weeks ahead from every ninth Monday of four years, beside how often it did:
// within 5 points in each of ten bins that hold enough weeks to tell.
func TestChanceShort(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	for name, odd := range map[string]int{"as it comes": 0, "with the odd year": 2026} {
		t.Run(name, func(t *testing.T) { chanceShort(t, odd) })
	}
}

// chanceShort takes shops with one odd year, the same for all of them, or
// none.
func chanceShort(t *testing.T, odd int) {
	var said, came, n [10]float64
	for i := range *books {
		spec := demo.SixYears(uint64(*first+i), forecast.NewDate(2026, 11, 25))
		spec.OddYear = odd
		shop := demo.Generate(spec)
		b, asOf := bookOf(shop)
		calendar, crew, off := crewOf(shop)
		var origins []forecast.Date
		for o := forecast.NewDate(2023, 1, 2); o+91 <= asOf; o += 63 {
			origins = append(origins, o)
		}
		r, err := workload.Backtest(workload.Model{}, b, asOf, origins, 13, 1000, 1)
		if err != nil {
			t.Fatal(err)
		}
		total := b.Known(asOf).Total
		for _, o := range r.Hours.Outcomes {
			has := crew.Hours(calendar, off, total.At(o.Origin+o.Step-1), 1)[0].Available
			if has == 0 {
				continue // closed
			}
			chance := 1 - o.Dist.(forecast.Empirical).CDF(has)
			k := min(9, int(10*chance))
			said[k] += chance
			n[k]++
			if o.Actual > has {
				came[k]++
			}
		}
	}
	for k := range n {
		if n[k] == 0 {
			continue
		}
		gap, sd := (came[k]-said[k])/n[k], math.Sqrt(said[k]/n[k]*(1-said[k]/n[k])/n[k])
		t.Logf("said %3.0f %%, came %3.0f %% of %4.0f weeks", 100*said[k]/n[k], 100*came[k]/n[k], n[k])
		// Weeks of one shop and of one origin err together: 13 of them count
		// for few, so that the binomial deviation is taken four times.
		if math.Abs(gap) > .05+4*sd {
			t.Errorf("bin %d is off by %.0f points", k, 100*gap)
		}
	}
}

// owner is what a season costs in the test: an hour of work lost to another
// shop because the line is longer than customers wait, and an hour that waits
// in line for a week. Wages beyond the crew's are on top.
var owner = struct{ lost, waits, longest float64 }{lost: 80, waits: 4, longest: 3}

// season is a shop that works its true arrivals week by week.
type season struct {
	calendar capacity.Calendar
	crew     capacity.Crew
	off      []capacity.Absence
	extra    map[forecast.Date]float64 // hours of overtime by Monday
	backlog  float64
	cost     float64
}

// week works a week in which so many hours come in.
func (s *season) week(monday forecast.Date, come float64) {
	w := s.crew.Hours(s.calendar, s.off, monday, 1)[0]
	usual := 0.0
	for _, t := range s.crew {
		usual += t.WeeklyHours * t.Productivity
	}
	s.backlog += come
	if most := w.Available + s.extra[monday] + owner.longest*usual; s.backlog > most {
		s.cost += owner.lost * (s.backlog - most)
		s.backlog = most
	}
	s.backlog = max(0, s.backlog-w.Available-s.extra[monday])
	s.cost += owner.waits * s.backlog
}

// follow decides what falls due before the next Monday, on what was known.
func (s *season) follow(t *testing.T, b *workload.Book, monday forecast.Date) {
	t.Helper()
	fit, err := workload.Model{}.Fit(b.Known(monday))
	if err != nil {
		t.Fatal(err)
	}
	f := fit.Simulate(reach, 400, rand.New(rand.NewPCG(uint64(monday), 0)))
	p := capacity.Plan{From: monday, Calendar: s.calendar, Crew: s.crew, Absences: s.off, Load: capacity.Load{Ready: s.backlog}, Arriving: f.Labor, Policy: capacity.DefaultPolicy()}
	p.Policy.LostCost, p.Policy.WaitCost, p.Policy.LostWeeks = owner.lost, owner.waits, owner.longest
	// Overtime agreed on already is capacity of its weeks.
	for m, h := range s.extra {
		if m >= monday {
			p.Crew = append(p.Crew[:len(p.Crew):len(p.Crew)], capacity.Technician{Name: "overtime", WeeklyHours: h, Productivity: 1, From: m, Until: m + 6, Skills: []string{"all"}})
		}
	}
	all, err := capacity.Advise(p)
	if err != nil {
		t.Fatal(err)
	}
	wage := 0.0
	for _, t := range s.crew {
		wage += t.HourlyCost / float64(len(s.crew))
	}
	for _, a := range all {
		if a.DecideBy >= monday+7 || a.InsteadOf != "" {
			continue
		}
		switch a.Do {
		case capacity.Hire:
			hand := capacity.Technician{Name: "hire", WeeklyHours: 39, Productivity: .86, Skills: []string{"all"}, HourlyCost: wage, From: a.From - 28, Ramp: 4}
			s.crew = append(s.crew[:len(s.crew):len(s.crew)], hand)
			t.Logf("%v: hire from %v", monday, a.From)
		case capacity.Overtime:
			weeks := float64(a.Until.Monday()-a.From.Monday())/7 + 1
			for m := a.From.Monday(); m <= a.Until; m += 7 {
				s.extra[m] += a.Hours / weeks
			}
			s.cost += *a.Cost
			t.Logf("%v: %.0f h of overtime", monday, a.Hours)
		case capacity.OpenSaturday:
			// Only those of the next three weeks are fixed; the rest is
			// looked at again.
			for d := a.From; d <= min(a.Until, monday+27); d += 7 {
				if _, set := s.calendar.Days[d]; !set {
					s.calendar.Days[d] = .5
					s.cost += *a.Cost / (float64(a.Until-a.From)/7 + 1)
					t.Logf("%v: open on %v", monday, d)
				}
			}
		}
	}
}

// wages gives what hires were paid until a day.
func (s *season) wages(until forecast.Date) float64 {
	sum := 0.0
	for _, t := range s.crew {
		if t.Name == "hire" && t.From < until {
			sum += t.Cost(float64(until-t.From) / 7)
		}
	}
	return sum
}

// What following the advice costs beside doing nothing, on the true arrivals
// of invented shops' last season: from the first Monday of January on, each
// Monday's advice is followed as far as it falls due that week, on what was
// known that morning. Costs are the owner's above.
func TestFollowingTheAdvice(t *testing.T) {
	if *seasons == 0 {
		t.Skip("minutes; -seasons says how many")
	}
	// A crew that is about enough, and one that is a technician short of it.
	for name, hands := range map[string]int{"four technicians": 4, "three technicians": 3} {
		t.Run(name, func(t *testing.T) { followed(t, hands) })
	}
}

func followed(t *testing.T, hands int) {
	var saved, share []float64
	for i := range *seasons {
		spec := demo.SixYears(uint64(*first+i), forecast.NewDate(2026, 11, 25))
		spec.OddYear = 0 // a year that the generator bends on purpose, and nobody can foresee
		shop := demo.Generate(spec)
		b, asOf := bookOf(shop)
		come := map[forecast.Date]float64{}
		for _, j := range b.Jobs {
			if !math.IsNaN(j.Hours) {
				come[j.DroppedOff.Monday()] += j.Hours
			}
		}
		var runs [2]*season
		for k := range runs {
			calendar, crew, off := crewOf(shop)
			runs[k] = &season{calendar: calendar, crew: crew[:hands:hands], off: off, extra: map[forecast.Date]float64{}}
		}
		end := asOf.Monday() - 28 // later jobs are open still, and their hours not known
		for monday := forecast.NewDate(2026, 1, 5); monday < end; monday += 7 {
			runs[1].follow(t, b, monday)
			for _, s := range runs {
				s.week(monday, come[monday])
			}
		}
		nothing, advised := runs[0].cost, runs[1].cost+runs[1].wages(end)
		t.Logf("shop %d: $%.0f without the advice, $%.0f with it", *first+i, nothing, advised)
		saved = append(saved, nothing-advised)
		share = append(share, nothing)
	}
	mean, sd := stat.MeanStdDev(saved, nil)
	all := stat.Mean(share, nil)
	t.Logf("saved in the mean $%.0f a season of $%.0f, sd %.0f over %d shops", mean, all, sd, len(saved))
	if mean < -2*sd/math.Sqrt(float64(len(saved))) {
		t.Error("following the advice costs more than doing nothing")
	}
}
