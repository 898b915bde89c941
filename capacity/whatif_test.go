package capacity

import (
	"math"
	"slices"
	"testing"

	"freshet/forecast"

	"pgregory.net/rapid"
)

func apply(t testing.TB, w WhatIf, p Plan) Plan {
	t.Helper()
	return must[Plan](t)(w.Apply(p))
}

func TestWhatIfHours(t *testing.T) {
	p := storyPlan(onePath(100, 100, 100))
	hours := func(w WhatIf, j int) float64 { return apply(t, w, p).Weeks(3)[j].Available }
	near(t, "one more from week 2, week 1", hours(WhatIf{AddTech: 1, AddTechFrom: monday + 7}, 0), 136, 1e-9)
	near(t, "one more from week 2, week 2", hours(WhatIf{AddTech: 1, AddTechFrom: monday + 7}, 1), 170, 1e-9)
	near(t, "two fewer", hours(WhatIf{AddTech: -2}, 0), 68, 1e-9)
	near(t, "nine fewer than four", hours(WhatIf{AddTech: -9}, 0), 0, 0)
	near(t, "ten hours more", hours(WhatIf{AddHours: 10}, 0), 146, 1e-9)
	near(t, "Saturdays: a sixth day", hours(WhatIf{Saturdays: true}, 0), 136*6./5, 1e-9)
	near(t, "all at once", hours(WhatIf{AddTech: 1, AddHours: 10, Saturdays: true}, 0), 180*6./5, 1e-9)
	near(t, "the plan itself", p.Weeks(1)[0].Available, 136, 1e-9)
	twice := apply(t, WhatIf{AddHours: 10}, apply(t, WhatIf{AddHours: 10}, p))
	near(t, "twice", twice.Weeks(1)[0].Available, 156, 1e-9)
}

func TestWhatIfDemand(t *testing.T) {
	p := storyPlan(onePath(100, 200))
	near(t, "a tenth more", apply(t, WhatIf{DemandPercent: 10}, p).Arriving().Values[1], 220, 1e-9)
	near(t, "none", apply(t, WhatIf{DemandPercent: -100}, p).Arriving().Values[1], 0, 0)
	near(t, "the plan itself", p.Arriving().Values[1], 200, 0)
}

// Hand arithmetic on straight lines between the weeks' middles.
func TestSeasonShift(t *testing.T) {
	p := storyPlan(onePath(10, 20, 40, 30))
	for days, want := range map[int][]float64{
		7:   {10, 10, 20, 40},
		-14: {40, 30, 30, 30},
		// A shift of 3.5 days isn't whole; 7 parts of one are 1 day.
		1: {10, 20 - 10./7, 40 - 20./7, 30 + 10./7},
	} {
		have := apply(t, WhatIf{SeasonShiftDays: days}, p).Arriving().Values
		for j := range want {
			near(t, "shifted week", have[j], want[j], 1e-9)
		}
	}
	near(t, "the plan itself", p.Arriving().Values[0], 10, 0)
}

// A closed week and a week begun stay where they are: at 10 h a day
// throughout, no shift changes anything.
func TestSeasonShiftKeepsClosedDays(t *testing.T) {
	p := storyPlan(onePath(20, 50, 0, 40, 50))
	p.From += 3
	p.Calendar.Days = map[forecast.Date]float64{monday + 21: 0}
	for d := monday + 14; d < monday+21; d++ {
		p.Calendar.Days[d] = 0
	}
	want := slices.Clone(p.Arriving().Values)
	for _, days := range []int{-20, -3, 5, 30} {
		for j, v := range apply(t, WhatIf{SeasonShiftDays: days}, p).Arriving().Values {
			near(t, "level season", v, want[j], 1e-9)
		}
	}
}

// The story's season by three weeks: the mean moves, and the paths keep their
// spread even when the shift is half a week.
func TestSeasonShiftKeepsSpread(t *testing.T) {
	_, d := storyRow(t, "story1_peak_usual_4")
	p := storyPlan(d.simulate(4000, 3))
	three := apply(t, WhatIf{SeasonShiftDays: 21}, p)
	for j := 3; j < p.Arriving().H; j++ {
		near(t, "mean three weeks later", three.Arriving().Dist(j).Mean(), p.Arriving().Dist(j-3).Mean(), 1e-6)
	}
	spread := func(p forecast.Paths, j int) float64 {
		e := p.Dist(j)
		return (e.Quantile(.9) - e.Quantile(.1)) / e.Mean()
	}
	half := apply(t, WhatIf{SeasonShiftDays: 4}, p)
	for _, j := range []int{0, 5, 12, 23} {
		near(t, "relative spread", spread(half.Arriving(), j), spread(p.Arriving(), j), 1e-9)
	}
}

func TestZeroWhatIfChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := storyPlan(onePath(rapid.SliceOfN(rapid.Float64Range(0, 300), 1, 10).Draw(t, "arriving")...))
		p.Open = inShop(rapid.Float64Range(0, 300).Draw(t, "ready"))
		q, err := WhatIf{}.Apply(p)
		if err != nil {
			t.Fatal(err)
		}
		a, errA := p.Outcome()
		b, errB := q.Outcome()
		if errA != nil || errB != nil || !slices.Equal(a.Backlog.Values, b.Backlog.Values) || !slices.Equal(a.Short.Values, b.Short.Values) {
			t.Fatalf("%v %v: %v and %v", errA, errB, a.Backlog.Values, b.Backlog.Values)
		}
	})
}

func TestWhatIfErrors(t *testing.T) {
	p := storyPlan(onePath(100))
	for _, w := range []WhatIf{{AddHours: math.NaN()}, {AddHours: math.Inf(1)}, {DemandPercent: -101}, {DemandPercent: 1001}, {DemandPercent: 1e12}, {DemandPercent: math.NaN()}, {AddTech: 1000}} {
		if _, err := w.Apply(p); err == nil {
			t.Errorf("%+v passes", w)
		}
	}
	p.Crew = nil
	if _, err := (WhatIf{}).Apply(p); err == nil {
		t.Error("an empty crew passes")
	}
}

// A hire who does everything adds to those who do what nobody lists, and
// doesn't take it over.
func TestHireSharesWhatEverybodyDoes(t *testing.T) {
	p := storyPlan(level(repeat(120, 12)...))
	for i := range p.Crew {
		p.Crew[i].Skills = []string{"chassis"}
	}
	p.Kinds[0].Kind = "mirrors"
	before := outcome(t, p)
	q := apply(t, WhatIf{AddTech: 1, AddTechFrom: monday + 28}, p)
	after := outcome(t, q)
	for j := range before.Weeks {
		if b, a := median(before.Backlog, j), median(after.Backlog, j); a > b+1e-9 {
			t.Fatalf("with one more the line of week %d grows from %v to %v h", j+1, b, a)
		}
	}
	if len(after.Skills) != 0 {
		t.Errorf("have %+v", after.Skills)
	}
}

// Opening Saturdays doesn't make a week with a holiday a usual one, by which
// the season would be known.
func TestSeasonShiftWithSaturdays(t *testing.T) {
	p := storyPlan(onePath(100, 110, 120, 54, 140, 150, 160, 170))
	p.Calendar.Days = map[forecast.Date]float64{monday + 24: 0}
	want := apply(t, WhatIf{SeasonShiftDays: 7}, p).Arriving().Values
	have := apply(t, WhatIf{SeasonShiftDays: 7, Saturdays: true}, p).Arriving().Values
	for j := range want {
		near(t, "hours", have[j], want[j], 1e-9)
	}
}

// One fewer than the one who is left is nobody, and nobody is paid.
func TestWhatIfFewerThanThereAre(t *testing.T) {
	p := storyPlan(level(repeat(30, 8)...))
	p.Crew = p.Crew[:2]
	p.Crew[0].WeeklyHours, p.Crew[1].Until = 10, monday+6
	for _, w := range apply(t, WhatIf{AddTech: -1, AddTechFrom: monday}, p).Weeks(8) {
		if w.Paid < 0 || w.Available < 0 {
			t.Errorf("have %+v", w)
		}
	}
}
