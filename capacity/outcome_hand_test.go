package capacity

import (
	"testing"

	"freshet/forecast"
)

// By hand: on the first Monday two rigs that are ready and leave a week later,
// one in the shop whose 6.8 h take one technician the day, and four that come:
// seven on the lot. Four of the five are ready that day and one on Tuesday; they
// stay seven days more, so that all five stand there on the second Monday.
func TestLot(t *testing.T) {
	p := storyPlan(onePath(4*6.8, 0), 6.8)
	p.Open = []OpenJob{{DroppedOff: monday - 3, Quoted: 6.8}}
	p.Lot.Ready, p.Habits.PickUp = 2, []float64{7}
	p.Policy = DefaultPolicy()
	p.Policy.LotSpaces = 7
	o := outcome(t, p)
	near(t, "rigs in the first week", o.OnLot.Values[0], 7, 0)
	near(t, "full", o.LotFull[0], 1, 0)
	near(t, "rigs in the second", o.OnLot.Values[1], 5, 0)
	near(t, "not full", o.LotFull[1], 0, 0)
	p.Policy.LotSpaces, p.Lot.Rigs = 8, .5
	o = outcome(t, p)
	near(t, "two jobs a rig", o.OnLot.Values[0], 3.5, 0)
	near(t, "room left", o.LotFull[0], 0, 0)
}

// Four jobs of 6.8 h each take the crew a day; five take one of them until
// Tuesday; one that waits eight days for its part is ready with it, and its
// hours wait until then.
func TestDaysUntilReady(t *testing.T) {
	p := storyPlan(onePath(5*6.8, 0), 6.8)
	p.Kinds = append(p.Kinds, demand("parts", 6.8, onePath(6.8, 0)))
	p.Habits = plainHabits(2)
	p.Habits.Needs[1], p.Habits.Wait[1] = 1, []float64{8}
	o := outcome(t, p)
	for d, n := range o.Ready[0] {
		if want := map[int]int{0: 4, 1: 1, 8: 1}[d]; n != want {
			t.Errorf("want %d jobs ready after %d days, have %d", want, d, n)
		}
	}
	near(t, "median", o.Ready[0].Quantile(.5), 0, 0)
	near(t, "80 %", o.Ready[0].Quantile(.8), 1, 0)
	near(t, "mean", o.Ready[0].Mean(), 9./6, 1e-9)
	near(t, "waiting at the week's end", o.Waiting.Values[0], 6.8, 1e-9)
	near(t, "and a week later", o.Waiting.Values[1], 0, 1e-9)
	near(t, "arrives when its part does", o.Arriving.Values[1], 6.8, 1e-9)
	if o.Ready[1].N() != 0 || o.Ready[1].Quantile(.5) != 0 {
		t.Errorf("jobs in a week that brings none: %d", o.Ready[1].N())
	}
}

// Hours are short where those who can do a kind have too few, though the crew
// as a whole has enough: 50 h of gas against Ann's 34, or 70 of gas and cooling
// against Ann's and Bo's 68, who do one each.
func TestShortBySkills(t *testing.T) {
	plan := func(gas, cooling, rest float64) Plan {
		p := storyPlan(onePath(gas), 1)
		p.Kinds = []Demand{demand("gas", 1, onePath(gas)), demand("cooling", 1, onePath(cooling)), demand("", 1, onePath(rest))}
		p.Habits = plainHabits(3)
		for i, skill := range []string{"gas", "cooling", "paint", "paint"} {
			p.Crew[i].Skills = []string{skill}
		}
		return p
	}
	for _, c := range []struct{ gas, cooling, rest, short float64 }{
		{50, 0, 20, 16}, {20, 20, 20, 0}, {40, 40, 20, 12}, {30, 30, 90, 14}, {60, 0, 120, 44},
	} {
		near(t, "hours short", outcome(t, plan(c.gas, c.cooling, c.rest)).Short.Values[0], c.short, 1e-6)
	}
}

// What was clocked is no longer left, and of the ways a job can grow only those
// remain that it hasn't passed.
func TestOpenHours(t *testing.T) {
	h := plainHabits(1)
	h.Growth[0], h.Hours[0] = []float64{1, 1.5, 2}, []float64{2, 4, 9}
	for _, c := range []struct {
		job  OpenJob
		mean float64
	}{
		{OpenJob{Quoted: 4}, 6}, {OpenJob{Quoted: 4, Worked: 1}, 5}, {OpenJob{Quoted: 4, Worked: 5}, 2}, {OpenJob{Quoted: 4, Worked: 9}, 0},
		{OpenJob{}, 5}, {OpenJob{Worked: 3}, 3.5}, {OpenJob{Worked: 10}, 0},
	} {
		near(t, "expected", h.opening(c.job, monday).expected(), c.mean, 1e-9)
		p := storyPlan(forecast.NewPaths(monday, forecast.Week, 1, 3000))
		p.Habits, p.Open = h, []OpenJob{c.job}
		p.Open[0].DroppedOff = monday - 1
		p.Crew = p.Crew[:1]
		drawn, sum, room := p.jobs(), 0.0, []Task(nil)
		for i := range 3000 {
			sum += drawn.tasks(i, &room)[0].Hours / 3000
		}
		near(t, "drawn", sum, c.mean, .2)
	}
}

// A few paths stand for all: in hours to within a hundredth.
func TestThinned(t *testing.T) {
	_, d := storyRow(t, "story1_peak_usual_4")
	p := storyPlan(d.simulate(2000, 4))
	few := p.Thinned(64)
	if n := few.Kinds[0].Hours.N(); n != 64 || few.Kinds[0].Jobs.N() != 64 || p.Kinds[0].Hours.N() != 2000 {
		t.Fatalf("have %d paths", n)
	}
	total := func(p Plan) (sum float64) {
		hours := p.Arriving()
		for _, v := range hours.Values {
			sum += v / float64(hours.N())
		}
		return sum
	}
	near(t, "hours of few over those of all", total(few)/total(p), 1, .01)
	if q := few.Thinned(64); &q.Kinds[0].Hours.Values[0] != &few.Kinds[0].Hours.Values[0] {
		t.Error("few enough are thinned")
	}
}
