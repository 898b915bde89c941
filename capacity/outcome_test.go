package capacity

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// aFewJobs is the hours by which the floor may differ from sums of whole weeks:
// half a job of each technician and a day.
const aFewJobs = 1.5

// The row's recursion, to within a few jobs.
func TestBacklogRecursion(t *testing.T) {
	r := forecasttest.Ref(t, "backlog_recursion")
	var d struct {
		Demand   []float64
		Capacity float64
	}
	r.Into(t, &d)
	for j, left := range outcome(t, evenPlan(d.Capacity, onePath(d.Demand...))).Backlog.Values {
		near(t, fmt.Sprintf("week %d", j+1), left, r.Values(t)[j], aFewJobs)
	}
}

// story1_mean_path without overtime, and story11_defer: 12 h moved from each of
// weeks 7 to 12 to weeks 19 to 24.
func TestStoryMeanPaths(t *testing.T) {
	r, d := storyRow(t, "story1_mean_path")
	hours := make([]float64, len(d.WeeklyMean))
	for j, m := range d.WeeklyMean {
		hours[j] = m * d.HoursMean
	}
	left := outcome(t, storyPlan(onePath(hours...))).Backlog.Values
	peak := slices.Max(left)
	near(t, "peak hours", peak, r.Values(t)[0], aFewJobs)
	near(t, "week of the peak", float64(slices.Index(left, peak)+1), r.Values(t)[1], 0)
	for j := 6; j < 12; j++ {
		hours[j] -= 12
		hours[j+12] += 12
	}
	o, want := outcome(t, storyPlan(onePath(hours...))), forecasttest.Ref(t, "story11_defer").Values(t)
	near(t, "deferred, peak hours", slices.Max(o.Backlog.Values), want[0], aFewJobs)
	near(t, "deferred, peak weeks", o.Peak().Quantile(.5), want[1], aFewJobs/136)
	near(t, "deferred, at the end", o.Backlog.Values[23], want[2], aFewJobs)
}

// story1_mean_path with 20 h of overtime in each week that begins with more
// than 34 h, which are found week by week.
func TestStoryOvertimeOnMeanPath(t *testing.T) {
	r, d := storyRow(t, "story1_mean_path")
	hours := make([]float64, len(d.WeeklyMean))
	for j, m := range d.WeeklyMean {
		hours[j] = m * d.HoursMean
	}
	p := storyPlan(onePath(hours...))
	overtime := 0.0
	var left []float64
	for j := range hours {
		left = outcome(t, p).Backlog.Values
		if j+1 < len(hours) && left[j] > 34 {
			next := monday + forecast.Date(7*(j+1))
			p.extra = append(p.extra, Technician{Name: "overtime", WeeklyHours: 20, Productivity: 1, From: next, Until: next + 6})
			overtime += 20
		}
	}
	near(t, "peak with overtime", slices.Max(left), r.Values(t)[2], aFewJobs)
	near(t, "overtime", overtime, r.Values(t)[3], r.Tolerance)
}

func TestStoryPeaks(t *testing.T) {
	if testing.Short() {
		t.Skip("many futures: minutes under the race detector")
	}
	for _, season := range []string{"usual", "late3"} {
		for techs := 4; techs <= 5; techs++ {
			r, d := storyRow(t, fmt.Sprintf("story1_peak_%s_%d", season, techs))
			p := storyPlan(d.simulate(3000, 1))
			p = must[Plan](t)(WhatIf{AddTech: techs - 4}.Apply(p))
			o := outcome(t, p)
			near(t, "hours", o.Weeks[0].Available, d.Capacity, 1e-9)
			peak := o.Peak()
			r.Equal(t, peak.Quantile(.5), peak.Quantile(.8), peak.Quantile(.9))
			forecasttest.Ref(t, fmt.Sprintf("story1_over2_%s_%d", season, techs)).Equal(t, o.ChanceOver(2))
		}
	}
}

func TestStoryMondayMail(t *testing.T) {
	r, d := storyRow(t, "story2_hours")
	d.WeeklyMean = []float64{d.Mean}
	o := outcome(t, storyPlan(d.simulate(50000, 2), 12))
	arriving := o.Arriving.Dist(0)
	r.Equal(t, arriving.Quantile(.5), arriving.Quantile(.8), arriving.Quantile(.9))
	forecasttest.Ref(t, "story2_over136").Equal(t, o.ChanceShort[0])
}

// normalPaths stands for a normal by equally likely values, each the middle of
// its n-th part of the probability.
func normalPaths(mean, sd float64, n int) forecast.Paths {
	p := forecast.NewPaths(monday, forecast.Week, 1, n)
	for i := range n {
		p.Values[i] = distuv.Normal{Mu: mean, Sigma: sd}.Quantile((float64(i) + .5) / float64(n))
	}
	return p
}

// The row holds the normal's integrals; paths of 20,000 values come to within
// a thousandth of an hour and 1/20,000 of a chance.
func TestVacationShort(t *testing.T) {
	r := forecasttest.Ref(t, "vacation_short")
	var d struct {
		Mean, SD float64
		Capacity []float64
	}
	r.Into(t, &d)
	want := r.Values(t)
	for k, c := range d.Capacity {
		p := evenPlan(c, normalPaths(d.Mean, d.SD, 20000))
		p.Kinds[0] = demand("work", 20, p.Kinds[0].Hours)
		o := outcome(t, p)
		near(t, "chance short", o.ChanceShort[0], want[2*k], 1e-4)
		near(t, "hours short", o.Short.Dist(0).Mean(), want[2*k+1], 1e-3)
	}
}

func TestWeeksOfWork(t *testing.T) {
	closed := plainCalendar()
	closed.Days = map[forecast.Date]float64{}
	for d := monday + 7; d < monday+14; d++ {
		closed.Days[d] = 0
	}
	p := evenPlan(40, onePath(0))
	p.Calendar, p.Open = closed, inShop(100)
	// 60 h left on Sunday: a closed week, a week of 40 h and half of one.
	o := outcome(t, p)
	near(t, "open work doesn't arrive", o.Arriving.Values[0], 0, 0)
	near(t, "through a closed week", o.WeeksOfWork().Values[0], 2.5, 1e-6)
	near(t, "chance over", o.ChanceOver(2.4), 1, 0)
	near(t, "chance not over", o.ChanceOver(2.6), 0, 0)
}

// A plan's errors say need and have.
func TestOutcomeErrors(t *testing.T) {
	change := func(f func(*Plan)) Plan {
		p := storyPlan(onePath(1, 1))
		f(&p)
		return p
	}
	late := onePath(1, 1)
	late.Start += 7
	for want, p := range map[string]Plan{
		"job kind with 1 path": change(func(p *Plan) { p.Kinds = nil }),
		"paths of 2 steps":     change(func(p *Plan) { p.Kinds = append(p.Kinds, demand("late", 1, late)) }),
		"have NaN":             change(func(p *Plan) { p.Kinds = []Demand{demand("x", 1, onePath(math.NaN()))} }),
		"have +Inf":            change(func(p *Plan) { p.Kinds = []Demand{demand("x", 1, onePath(math.Inf(1)))} }),
		"have -1 of x in":      change(func(p *Plan) { p.Kinds = []Demand{demand("x", 1, onePath(-1))} }),
		"one of 1 kinds":       change(func(p *Plan) { p.Open = []OpenJob{{Kind: 1}} }),
		"hours of 0 or more":   change(func(p *Plan) { p.Open = []OpenJob{{Quoted: math.NaN()}} }),
		"habits of 1 kinds":    change(func(p *Plan) { p.Habits = Habits{} }),
		"0 to 1 rigs":          change(func(p *Plan) { p.Lot.Rigs = 2 }),
		"week from January 5, 2026 on, have none": change(func(p *Plan) {
			for i := range p.Crew {
				p.Crew[i].Until = monday - 1
			}
		}),
	} {
		if _, err := p.Outcome(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, have %v", want, err)
		}
	}
}

// Work comes in, is done, waits or is left; nothing is lost, nobody works more
// than the crew has; and what comes is what the paths say, to the hour.
func TestPlanConservesWork(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "weeks")
		hours := rapid.SliceOfN(rapid.Float64Range(0, 200), n, n)
		p := storyPlan(onePath(hours.Draw(t, "arriving")...), 4)
		p.Kinds = append(p.Kinds, demand("gas", 4, onePath(hours.Draw(t, "gas")...)))
		p.Habits = plainHabits(2)
		p.Habits.Hours[0], p.Habits.Hours[1] = []float64{1, 2, 9}, []float64{3, 4}
		p.Habits.Wait = [][]float64{{1, 5, 30}, {2, 8}}
		p.Habits.Needs, p.Habits.Rush, p.Habits.Later = []float64{.3, .5}, []float64{.1, .1}, []float64{.2, .1}
		p.Habits.Weekday = [7]float64{0, 3, 2, 2, 2, 2, 0}
		p.Crew[1].Skills = []string{"work"}
		p.Seed = rapid.Uint64().Draw(t, "seed")
		p.Open = inShop(rapid.Float64Range(0, 100).Draw(t, "open"))
		o, err := p.Outcome()
		if err != nil {
			t.Fatal(err)
		}
		in, done := float64(len(p.Open))/2, 0.0
		for j := range n {
			in += p.Kinds[0].Hours.Values[j] + p.Kinds[1].Hours.Values[j]
			worked := o.Work.Values[j] - o.Backlog.Values[j]
			done += worked
			if left := o.Backlog.Values[j] + o.Waiting.Values[j]; math.Abs(in-done-left) > .01 {
				t.Fatalf("week %d: %v in, %v done, %v left", j+1, in, done, left)
			}
			if c := o.Weeks[j].Available; worked < 0 || worked > c+1e-6 || o.Short.Values[j] < o.Arriving.Values[j]-c-1e-6 {
				t.Fatalf("week %d: worked %v of %v h, short %v", j+1, worked, c, o.Short.Values[j])
			}
		}
	})
}

func TestNewsvendor(t *testing.T) {
	r := forecasttest.Ref(t, "newsvendor_hammer")
	r.Equal(t, Newsvendor(distuv.Normal{Mu: 3192, Sigma: 1181}, 70, 20))
	r = forecasttest.Ref(t, "ot_newsvendor_hours")
	hours := Newsvendor(distuv.Normal{Mu: 160, Sigma: 25}, .5, 1)
	r.Equal(t, hours)

	// The row holds the normal's integral; 20,000 values come to within 5 cents.
	want := forecasttest.Ref(t, "ot_newsvendor_cost").Values(t)
	demand := normalPaths(160, 25, 20000).Values
	cost := func(hours float64) float64 { // all at $30, what is short at $45 more
		short := 0.0
		for _, d := range demand {
			short += max(0, d-hours)
		}
		return 30*hours + 45*short/float64(len(demand))
	}
	near(t, "cost at the best hours", cost(hours), want[0], .05)
	near(t, "cost at the mean", cost(160), want[1], .05)
	if cost(hours-10) < cost(hours) || cost(hours+10) < cost(hours) {
		t.Errorf("other hours than %v cost less", hours)
	}
}

func TestEmergencies(t *testing.T) {
	e := Emergencies{PerWeek: 3, Hours: 2.5, SD: 2}
	forecasttest.Ref(t, "holdback_quantiles").Equal(t, e.Quantile(.5), e.Quantile(.8), e.Quantile(.9))
	near(t, "mean", e.Mean(), 7.5, 0)
	near(t, "no emergencies", e.Quantile(math.Exp(-3)), 0, 0)
	if q := e.Quantile(1); math.IsInf(q, 0) || q < e.Quantile(.99) {
		t.Errorf("the greatest hours are %v", q)
	}
}

func TestTechnicianCost(t *testing.T) {
	a := storyCrew()[0]
	forecasttest.Ref(t, "story1_costs").Equal(t, a.Cost(1), a.Cost(24), a.Cost(3))
}

func BenchmarkHours(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		storyCrew().Hours(DefaultCalendar(), nil, monday, 21)
	}
}

// The near weeks are the same where no further ones are worked off, and the
// hours that nobody can work on are of all weeks.
func TestNear(t *testing.T) {
	p := designPlan(t).Thinned(50)
	whole, near := outcome(t, p), p
	near.Near = 5
	few := outcome(t, near)
	if !reflect.DeepEqual(few.Short, whole.Short) || !reflect.DeepEqual(few.ChanceShort, whole.ChanceShort) || len(few.Weeks) != len(whole.Weeks) {
		t.Error("what is short differs")
	}
	for name, of := range map[string][2]forecast.Paths{"backlog": {few.Backlog, whole.Backlog}, "work": {few.Work, whole.Work}, "waiting": {few.Waiting, whole.Waiting},
		"lot": {few.OnLot, whole.OnLot}, "a skill's": {few.Skills[0].Backlog, whole.Skills[0].Backlog}} {
		if of[0].H != 5 || of[1].H != 13 {
			t.Fatalf("%s: have %d and %d weeks", name, of[0].H, of[1].H)
		}
		for i := range of[0].N() {
			if !slices.Equal(of[0].Path(i), of[1].Path(i)[:5]) {
				t.Fatalf("%s differs on path %d", name, i)
			}
		}
	}
	if want := whole.Ready[:5]; !reflect.DeepEqual(few.Ready, want) {
		t.Errorf("want days until ready %v, have %v", want, few.Ready)
	}
	near.Near = 14
	if _, err := near.Outcome(); err == nil || !strings.Contains(err.Error(), "0 to 13 weeks") {
		t.Errorf("have %v", err)
	}
}
