package capacity

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/forecast/forecasttest"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func backlog(t testing.TB, load Load, arriving forecast.Paths, weeks []Week, released ...float64) Outcome {
	t.Helper()
	return must[Outcome](t)(Backlog(load, arriving, weeks, released))
}

func TestBacklogRecursion(t *testing.T) {
	r := forecasttest.Ref(t, "backlog_recursion")
	var d struct {
		Demand   []float64
		Capacity float64
	}
	r.Into(t, &d)
	r.Equal(t, backlog(t, Load{}, onePath(d.Demand...), even(d.Capacity, len(d.Demand))).Backlog.Values...)
}

// story1_mean_path without overtime, and story11_defer: 12 h moved from each of
// weeks 7 to 12 to weeks 19 to 24. The same hours as released work give the same.
func TestStoryMeanPaths(t *testing.T) {
	r, d := storyRow(t, "story1_mean_path")
	demand := make([]float64, len(d.WeeklyMean))
	for j, m := range d.WeeklyMean {
		demand[j] = m * d.HoursMean
	}
	weeks := even(136, len(demand)+8)
	left := backlog(t, Load{}, onePath(demand...), weeks).Backlog.Values
	peak := slices.Max(left)
	near(t, "peak hours", peak, r.Values(t)[0], r.Tolerance)
	near(t, "week of the peak", float64(slices.Index(left, peak)+1), r.Values(t)[1], 0)

	later := make([]float64, len(demand))
	for j := 6; j < 12; j++ {
		demand[j] -= 12
		later[j+12] = 12
	}
	o := backlog(t, Load{}, onePath(demand...), weeks, later...)
	forecasttest.Ref(t, "story11_defer").Equal(t, slices.Max(o.Backlog.Values), o.Peak().Quantile(.5), o.Backlog.Values[23])
}

// story1_mean_path with 20 h of overtime in each week that begins with more
// than 34 h, which are found week by week.
func TestStoryOvertimeOnMeanPath(t *testing.T) {
	r, d := storyRow(t, "story1_mean_path")
	demand := make([]float64, len(d.WeeklyMean))
	for j, m := range d.WeeklyMean {
		demand[j] = m * d.HoursMean
	}
	crew := Crew{{Name: "all", WeeklyHours: 136, Productivity: 1}}
	overtime := 0.0
	var left []float64
	for j := range demand {
		left = backlog(t, Load{}, onePath(demand...), crew.Hours(plainCalendar(), nil, monday, len(demand))).Backlog.Values
		if j+1 < len(demand) && left[j] > 34 {
			next := monday + forecast.Date(7*(j+1))
			crew = append(crew, Technician{Name: "overtime", WeeklyHours: 20, Productivity: 1, From: next, Until: next + 6})
			overtime += 20
		}
	}
	near(t, "peak with overtime", slices.Max(left), r.Values(t)[2], r.Tolerance)
	near(t, "overtime", overtime, r.Values(t)[3], r.Tolerance)
}

func TestStoryPeaks(t *testing.T) {
	for _, season := range []string{"usual", "late3"} {
		for techs := 4; techs <= 5; techs++ {
			r, d := storyRow(t, fmt.Sprintf("story1_peak_%s_%d", season, techs))
			p := storyPlan(d.simulate(10000, 1))
			p = must[Plan](t)(WhatIf{AddTech: techs - 4}.Apply(p))
			o := must[Outcome](t)(p.Outcome())
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
	o := must[Outcome](t)(storyPlan(d.simulate(50000, 2)).Outcome())
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
	arriving := normalPaths(d.Mean, d.SD, 20000)
	for k, c := range d.Capacity {
		o := backlog(t, Load{}, arriving, even(c, 1))
		near(t, "chance short", o.ChanceShort[0], want[2*k], 1e-4)
		near(t, "hours short", o.Short.Dist(0).Mean(), want[2*k+1], 1e-3)
	}
}

// Hand arithmetic: 40 h a week are 8 h a day, half of them worked by Wednesday
// noon. A job dropped off then behind 12 h of work waits for Wednesday's 4 h
// and Thursday's 8 h, to Thursday night; behind 24 h, over the weekend to
// Monday noon.
func TestTurnaround(t *testing.T) {
	weeks := even(40, 3)
	// Arriving as much as is worked keeps the middle's work at the start's.
	near(t, "to Thursday night", backlog(t, Load{Ready: 12}, onePath(40, 40), weeks).Turnaround().Values[0], 1.5, 1e-9)
	near(t, "over the weekend", backlog(t, Load{Ready: 24}, onePath(40, 40), weeks).Turnaround().Values[0], 5, 1e-9)
	near(t, "nothing ahead", backlog(t, Load{Ready: 5}, onePath(20, 40), weeks).Turnaround().Values[0], 0, 0)
	// 120 + (40 - 40)/2 h ahead, of which 100 are worked by the third week's end,
	// 18.5 days on, and 20 after it at 40 h in 7 days.
	near(t, "beyond the weeks", backlog(t, Load{Ready: 120}, onePath(40), weeks).Turnaround().Values[0], 18.5+3.5, 1e-9)
	// A week begun on Thursday has 16 h, half of them by its night; 16 h more
	// take Friday and Monday.
	begun := Crew{{Name: "all", WeeklyHours: 40, Productivity: 1}}.Hours(plainCalendar(), nil, monday+3, 3)
	near(t, "week begun", backlog(t, Load{Ready: 16}, onePath(16), begun).Turnaround().Values[0], 4, 1e-9)
}

func TestWeeksOfWork(t *testing.T) {
	closed := plainCalendar()
	closed.Days = map[forecast.Date]float64{}
	for d := monday + 7; d < monday+14; d++ {
		closed.Days[d] = 0
	}
	weeks := Crew{{Name: "all", WeeklyHours: 40, Productivity: 1}}.Hours(closed, nil, monday, 4)
	// 60 h left on Sunday: a closed week, a week of 40 h and half of one.
	near(t, "through a closed week", backlog(t, Load{Ready: 100}, onePath(0), weeks).WeeksOfWork().Values[0], 2.5, 1e-9)
	near(t, "chance over", backlog(t, Load{Ready: 100}, onePath(0), weeks).ChanceOver(2.4), 1, 0)
	near(t, "chance not over", backlog(t, Load{Ready: 100}, onePath(0), weeks).ChanceOver(2.6), 0, 0)
}

func TestBacklogErrors(t *testing.T) {
	late := onePath(1)
	late.Start += 7
	for want, f := range map[string]func() (Outcome, error){
		"have 0":         func() (Outcome, error) { return Backlog(Load{}, forecast.Paths{}, even(40, 1), nil) },
		"for 2 weeks":    func() (Outcome, error) { return Backlog(Load{}, onePath(1, 1), even(40, 1), nil) },
		"by 7 days from": func() (Outcome, error) { return Backlog(Load{}, late, even(40, 1), nil) },
		"1 weeks or few": func() (Outcome, error) { return Backlog(Load{}, onePath(1), even(40, 1), make([]float64, 2)) },
		"ready hours":    func() (Outcome, error) { return Backlog(Load{Ready: math.NaN()}, onePath(1), even(40, 1), nil) },
		"released hours": func() (Outcome, error) { return Backlog(Load{}, onePath(1), even(40, 1), []float64{-1}) },
		"have NaN":       func() (Outcome, error) { return Backlog(Load{}, onePath(math.NaN()), even(40, 1), nil) },
		"have +Inf":      func() (Outcome, error) { return Backlog(Load{}, onePath(math.Inf(1)), even(40, 1), nil) },
		"have -1 in":     func() (Outcome, error) { return Backlog(Load{}, onePath(-1), even(40, 1), nil) },
		"have none":      func() (Outcome, error) { return Backlog(Load{}, onePath(1), even(0, 1), nil) },
	} {
		if _, err := f(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, have %v", want, err)
		}
	}
}

// Work comes in, is done or is left; nothing is lost, nobody works more than
// the crew has; more hours never leave more work or longer waits; and ten times
// the work with ten times the hours is the same shop.
func TestBacklogProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "weeks")
		arriving := onePath(rapid.SliceOfN(rapid.Float64Range(0, 300), n, n).Draw(t, "arriving")...)
		released := rapid.SliceOfN(rapid.Float64Range(0, 50), 0, n).Draw(t, "released")
		c := rapid.Float64Range(20, 200).Draw(t, "hours")
		load := Load{Ready: rapid.Float64Range(0, 500).Draw(t, "ready")}
		run := func(load Load, arriving forecast.Paths, c float64, released []float64) Outcome {
			o, err := Backlog(load, arriving, even(c, n), released)
			if err != nil {
				t.Fatal(err)
			}
			return o
		}
		o := run(load, arriving, c, released)
		more := run(load, arriving, 1.2*c, released)
		scale := func(v []float64) []float64 {
			out := slices.Clone(v)
			for k := range out {
				out[k] *= 10
			}
			return out
		}
		ten := run(Load{Ready: 10 * load.Ready}, onePath(scale(arriving.Values)...), 10*c, scale(released))
		in, done := load.Ready, 0.0
		for j := range n {
			in += arriving.Values[j]
			if j < len(released) {
				in += released[j]
			}
			worked := o.Work.Values[j] - o.Backlog.Values[j]
			done += worked
			switch left := o.Backlog.Values[j]; {
			case math.Abs(in-done-left) > 1e-6:
				t.Fatalf("week %d: %v in, %v done, %v left", j+1, in, done, left)
			case worked < 0 || worked > c+1e-6:
				t.Fatalf("week %d: worked %v of %v h", j+1, worked, c)
			case more.Backlog.Values[j] > left+1e-6 || more.Turnaround().Values[j] > o.Turnaround().Values[j]+1e-6:
				t.Fatalf("week %d: more hours leave %v instead of %v", j+1, more.Backlog.Values[j], left)
			case math.Abs(ten.Backlog.Values[j]-10*left) > 1e-6 || math.Abs(ten.Turnaround().Values[j]-o.Turnaround().Values[j]) > 1e-6:
				t.Fatalf("week %d: scaled to %v and %v days from %v and %v", j+1, ten.Backlog.Values[j], ten.Turnaround().Values[j], left, o.Turnaround().Values[j])
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
	near(t, "cost at the best hours", StaffingCost(demand, hours, 30, 45), want[0], .05)
	near(t, "cost at the mean", StaffingCost(demand, 160, 30, 45), want[1], .05)
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

func BenchmarkBacklog(b *testing.B) {
	_, d := storyRow(b, "story1_peak_usual_4")
	d.WeeklyMean = d.WeeklyMean[:13]
	arriving := d.simulate(1000, 1)
	weeks := even(136, 21)
	b.ReportAllocs()
	for b.Loop() {
		backlog(b, Load{Ready: 100}, arriving, weeks)
	}
}

func BenchmarkHours(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		storyCrew().Hours(DefaultCalendar(), nil, monday, 21)
	}
}
