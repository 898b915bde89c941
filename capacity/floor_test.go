package capacity

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"freshet/forecast"
)

var floorStart = forecast.NewDate(2026, 3, 2) // a Monday

func hands(n int) Crew {
	out := make(Crew, n)
	for i := range out {
		out[i] = Technician{Name: string(rune('A' + i)), WeeklyHours: 40, Productivity: .8, Skills: []string{"all"}}
	}
	return out
}

func floor(t rapid.TB, crew Crew, kinds ...string) *Floor {
	t.Helper()
	f, err := NewFloor(crew, Calendar{Week: [7]float64{0, 1, 1, 1, 1, 1, 0}}, nil, kinds, floorStart, 250)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func someTasks(t *rapid.T, kinds int, parts bool) []Task {
	out := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Task {
		in := rapid.IntRange(-30, 60).Draw(t, "in")
		task := Task{Kind: rapid.IntRange(0, kinds-1).Draw(t, "kind"), In: in, From: in, Hours: float64(rapid.IntRange(1, 400).Draw(t, "hours")) / 10, Rank: Rank(rapid.IntRange(0, 2).Draw(t, "rank"))}
		if parts {
			task.From += rapid.IntRange(0, 20).Draw(t, "parts")
		}
		return task
	}), 1, 40).Draw(t, "tasks")
	slices.SortStableFunc(out, func(a, b Task) int { return a.In - b.In })
	return out
}

// Work is conserved: no job is ready before its hours can have been worked,
// nor before its parts, and by each day the crew has worked no more than its
// hours, all of them while something could be worked on.
func TestFloorConservesWork(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "technicians")
		f := floor(t, hands(n), "one")
		tasks := someTasks(t, 1, true)
		var r Run
		ready, _ := r.Done(f, tasks, -1, f.Days)
		const daily = 40 * .8 / 5
		for i, task := range tasks {
			if ready[i] < max(task.From, 0) {
				t.Errorf("job %d is ready on day %d, before its parts on %d", i, ready[i], task.From)
			}
			days := 0
			for d := max(task.From, 0); d <= ready[i] && d < f.Days; d++ {
				if f.Open(d) {
					days++
				}
			}
			if float64(days)*daily < task.Hours-enough-1e-9 && ready[i] < f.Days {
				t.Errorf("job %d of %g hours had %d open days", i, task.Hours, days)
			}
		}
		for d := range 120 {
			has, done := 0.0, 0.0
			for k := range d + 1 {
				if f.Open(k) {
					has += float64(n) * daily
				}
			}
			for i, task := range tasks {
				if ready[i] <= d {
					done += task.Hours
				}
			}
			if done > has+float64(len(tasks))*enough+1e-9 {
				t.Errorf("by day %d %g hours are done, the crew had %g", d, done, has)
			}
		}
	})
}

// A longer job never gets an earlier date, whatever is in line.
func TestLongerJobIsNeverEarlier(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := floor(t, hands(rapid.IntRange(1, 4).Draw(t, "technicians")), "one", "two")
		tasks := someTasks(t, 2, true)
		mine := rapid.IntRange(0, len(tasks)-1).Draw(t, "mine")
		var r Run
		ready, _ := r.Done(f, tasks, mine, f.Days)
		before := ready[mine]
		tasks[mine].Hours += float64(rapid.IntRange(1, 100).Draw(t, "more")) / 10
		if ready, _ = r.Done(f, tasks, mine, f.Days); ready[mine] < before {
			t.Errorf("want day %d or later, have %d", before, ready[mine])
		}
	})
}

// With one line and equal hands another technician never makes a job later,
// as long as nothing waits for parts.
func TestAnotherTechnicianHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "technicians")
		tasks := someTasks(t, 1, false)
		for i := range tasks {
			tasks[i].Rank = Usual
		}
		var r Run
		few, _ := r.Done(floor(t, hands(n), "one"), tasks, -1, 250)
		before := slices.Clone(few)
		many, _ := r.Done(floor(t, hands(n+1), "one"), tasks, -1, 250)
		for i := range tasks {
			if many[i] > before[i] {
				t.Errorf("job %d: day %d with %d technicians, %d with one more", i, before[i], n, many[i])
			}
		}
	})
}

// Emergencies pass what waits, what can wait is passed for six weeks, and a
// kind that one person knows waits for that person.
func TestFloorOrder(t *testing.T) {
	var r Run
	one := floor(t, hands(1), "one")
	ready, _ := r.Done(one, []Task{{In: 0, Hours: 6.4, Rank: CanWait}, {In: 0, Hours: 6.4, Rank: Usual}, {In: 0, Hours: 6.4, Rank: Urgent}}, -1, one.Days)
	if !slices.Equal(ready, []int{2, 1, 0}) {
		t.Errorf("want them in order of rank, have %v", ready)
	}
	var stream []Task
	for d := range 100 {
		stream = append(stream, Task{In: d, From: d, Hours: 6.4, Rank: Usual})
	}
	ready, _ = r.Done(one, append([]Task{{In: 0, Hours: 6.4, Rank: CanWait}}, stream...), 0, one.Days)
	if ready[0] != longestWait {
		t.Errorf("want it worked on after %d days, have day %d", longestWait, ready[0])
	}
	crew := hands(2)
	crew[0].Skills, crew[1].Skills = []string{"gas"}, []string{"all"}
	two := floor(t, crew, "gas", "else")
	ready, _ = r.Done(two, []Task{{Kind: 1, Hours: 6.4}, {Kind: 1, Hours: 6.4}, {Kind: 0, Hours: 6.4}}, -1, two.Days)
	if !slices.Equal(ready, []int{0, 1, 0}) {
		t.Errorf("want what one person knows to wait for that person, have %v", ready)
	}
}

// Alone in the shop, a job takes its hours over a technician's day, through
// the weekend, after its part.
func TestStayAlone(t *testing.T) {
	h := Habits{Hours: [][]float64{{4}}, Growth: [][]float64{{1}}, Wait: [][]float64{{5}}, Needs: []float64{0}, Rate: []float64{0}, Rush: []float64{0}, Later: []float64{0}}
	f := floor(t, hands(1), "one")
	for _, c := range []struct {
		q            Inquiry
		days, closed int
	}{{Inquiry{PartsDays: -1}, 0, 0}, {Inquiry{Hours: 6.4, PartsDays: 0}, 0, 0}, {Inquiry{Hours: 12, PartsDays: 0}, 1, 0}, {Inquiry{Hours: 6.4, PartsDays: 3}, 3, 0}, {Inquiry{Hours: 6.4, PartsDays: 5}, 7, 2}, {Inquiry{Hours: 38, PartsDays: 0}, 7, 2}} {
		for _, s := range h.Stays(f, nil, c.q, 20, rand.New(rand.NewPCG(1, 1))) {
			if s.Days != c.days || s.Closed != c.closed {
				t.Errorf("%+v: want %d days, of which %d closed, have %+v", c.q, c.days, c.closed, s)
			}
		}
	}
	h.Needs[0] = 1
	for _, s := range h.Stays(f, nil, Inquiry{Hours: 1, PartsDays: -1}, 20, rand.New(rand.NewPCG(1, 1))) {
		if s.Days != 7 || s.Parts != 5 || s.Closed != 2 {
			t.Errorf("want the part's five days and a weekend, have %+v", s)
		}
	}
}

// The wait for a part that has lasted goes on as those did that lasted longer:
// of waits of 1 to 10 days alike, one that has lasted 6 ends on 6 to 10 alike
// (the conditional distribution, worked by hand).
func TestWaitGoesOn(t *testing.T) {
	h := Habits{Wait: [][]float64{{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}}}
	r := rand.New(rand.NewPCG(2, 2))
	count := map[float64]int{}
	const n = 40_000
	for range n {
		count[draw(h.longer(0, 6), r, 0)]++
	}
	for d := 6.0; d <= 10; d++ {
		if p := float64(count[d]) / n; math.Abs(p-.2) > .01 {
			t.Errorf("want a fifth to end on day %g, have %.3f", d, p)
		}
	}
	if len(count) != 5 {
		t.Errorf("want days 6 to 10, have %v", count)
	}
}

func BenchmarkStays(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	h := Habits{Hours: [][]float64{{2, 4, 6, 9}, {1, 3, 8}}, Growth: [][]float64{{1, 1, 1.4}, {1}}, Wait: [][]float64{{3, 7, 14}, {5, 20}},
		Needs: []float64{.3, .2}, Rate: []float64{1.5, 1}, Rush: []float64{.1, .05}, Later: []float64{.1, .1}}
	f := floor(b, hands(4), "one", "two")
	var open []OpenJob
	for range 60 {
		open = append(open, OpenJob{Kind: r.IntN(2), DroppedOff: floorStart - forecast.Date(r.IntN(20)), Quoted: 1 + 8*r.Float64(), Waiting: r.IntN(4) == 0})
	}
	slices.SortFunc(open, func(a, b OpenJob) int { return int(a.DroppedOff - b.DroppedOff) })
	b.ReportAllocs()
	for b.Loop() {
		h.Stays(f, open, Inquiry{Hours: 4, PartsDays: -1}, 400, r)
	}
}

// Where each of many kinds is done by a part of the crew of its own, only each
// by itself and all together are looked at, and that is no long search.
func TestManySkills(t *testing.T) {
	crew, kinds := hands(6), make([]string, 60)
	for i := range crew {
		crew[i].Skills = nil
	}
	for k := range kinds {
		kinds[k] = fmt.Sprint("kind ", k)
		for i := range crew {
			if (k+1)>>i&1 == 1 {
				crew[i].Skills = append(crew[i].Skills, kinds[k])
			}
		}
	}
	f := floor(t, crew, kinds...)
	if n := len(f.sets(f.weeks())); n != len(kinds)+1 {
		t.Errorf("want %d sets, have %d", len(kinds)+1, n)
	}
}
