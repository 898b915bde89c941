package capacity

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Jobs come in at the rates that the shop's past had, on days of their own,
// with its shares of emergencies, of what can wait, and of parts: within four
// standard deviations of what Poisson arrivals and coins of those shares bring.
func TestArrivals(t *testing.T) {
	h := Habits{Hours: [][]float64{{2}, {3}, {5}}, Growth: [][]float64{{1}, {1}, {1}}, Wait: [][]float64{{4}, {1.5}, {9}},
		Needs: []float64{.5, 1, 0}, Rate: []float64{.5, 1.5, 1}, Rush: []float64{.2, 0, .1}, Later: []float64{.3, 0, 0}}
	const days, runs = 60, 300
	r := rand.New(rand.NewPCG(5, 5))
	var n, urgent, later, parts [3]float64
	byDay := make([]float64, days+1)
	for range runs {
		for a := h.arrivals(r); a.day() <= days; {
			task := a.task()
			k := task.Kind
			n[k]++
			if task.In < 1 || task.In > days {
				t.Fatalf("want days 1 to %d, have %+v", days, task)
			}
			byDay[task.In]++
			if task.Rank == Urgent {
				urgent[k]++
			}
			if task.Rank == CanWait {
				later[k]++
			}
			if task.From > task.In {
				parts[k]++
				if late := task.From - task.In; late != map[int]int{0: 4, 1: 2}[k] { // a day begun counts whole
					t.Errorf("kind %d waits %d days for its part", k, late)
				}
			}
			if task.Hours != h.Hours[k][0] {
				t.Errorf("kind %d takes %v h", k, task.Hours)
			}
		}
	}
	near := func(what string, have, want float64) {
		t.Helper()
		if math.Abs(have-want) > 4*math.Sqrt(want) || want == 0 && have != 0 {
			t.Errorf("%s: want about %.0f, have %.0f", what, want, have)
		}
	}
	for k := range n {
		near("jobs", n[k], h.Rate[k]*days*runs)
		near("emergencies", urgent[k], h.Rush[k]*n[k])
		near("jobs that can wait", later[k], h.Later[k]*n[k])
		near("jobs with parts", parts[k], h.Needs[k]*n[k])
	}
	for d, have := range byDay[1:] {
		near("jobs on day "+string(rune('0'+d/10))+string(rune('0'+d%10)), have, 3*runs)
	}
	h.Rate = []float64{0, 0, 0}
	if have := h.arrivals(r).day(); have < math.MaxInt32 {
		t.Errorf("want nothing to come, have it on day %v", have)
	}
}

// The inquiry's own hours, growth and part, as they are said or as its kind's
// past has them.
func TestDrawn(t *testing.T) {
	h := Habits{Hours: [][]float64{{5}}, Growth: [][]float64{{1.5}}, Wait: [][]float64{{6}}, Needs: []float64{1}}
	none := h
	none.Needs = []float64{0}
	for _, c := range []struct {
		h    Habits
		q    Inquiry
		task Task
		stay Stay
	}{
		{h, Inquiry{Hours: 4, PartsDays: 0}, Task{Hours: 6, Rank: Usual}, Stay{Labor: 1, Growth: .5}},
		{h, Inquiry{PartsDays: 0}, Task{Hours: 5, Rank: Usual}, Stay{Labor: 1.25}},
		{h, Inquiry{Hours: 4, PartsDays: 2.25, Emergency: true}, Task{Hours: 6, From: 3, Rank: Urgent}, Stay{Labor: 1, Growth: .5}},
		{h, Inquiry{Hours: 4, PartsDays: -1, Deferrable: true}, Task{Hours: 6, From: 6, Rank: CanWait}, Stay{Labor: 1, Growth: .5}},
		{none, Inquiry{Hours: 4, PartsDays: -1}, Task{Hours: 6, Rank: Usual}, Stay{Labor: 1, Growth: .5}},
		{none, Inquiry{Hours: 4, PartsDays: 8}, Task{Hours: 6, From: 8, Rank: Usual}, Stay{Labor: 1, Growth: .5}},
	} {
		task, stay := c.h.drawn(c.q, 4, rand.New(rand.NewPCG(1, 1)))
		if task != c.task || math.Abs(stay.Labor-c.stay.Labor) > 1e-12 || math.Abs(stay.Growth-c.stay.Growth) > 1e-12 {
			t.Errorf("%+v: want %+v, %+v, have %+v, %+v", c.q, c.task, c.stay, task, stay)
		}
	}
	// At half a power less four hours grow to 4·3/√4, not to 4·3.
	leans := Habits{Hours: [][]float64{{5}}, Growth: [][]float64{{3}}, Lean: []float64{-.5}, Wait: [][]float64{{6}}, Needs: []float64{0}}
	if task, stay := leans.drawn(Inquiry{Hours: 4, PartsDays: -1}, 4, rand.New(rand.NewPCG(1, 1))); math.Abs(task.Hours-6) > 1e-12 || math.Abs(stay.Growth-.5) > 1e-12 || math.Abs(stay.Labor-1) > 1e-12 {
		t.Errorf("a big quote: have %+v, %+v", task, stay)
	}
	open := leans.opening(OpenJob{Quoted: 4, Worked: 2}, 0)
	if task := open.task(rand.New(rand.NewPCG(1, 1))); math.Abs(task.Hours-4) > 1e-12 || math.Abs(open.expected()-4) > 1e-12 {
		t.Errorf("a big open job: have %+v, %v expected", task, open.expected())
	}
	shrunk := Habits{Hours: [][]float64{{5}}, Growth: [][]float64{{.5}}, Wait: [][]float64{{6}}, Needs: []float64{0}}
	if task, stay := shrunk.drawn(Inquiry{Hours: 4, PartsDays: -1}, 4, rand.New(rand.NewPCG(1, 1))); task.Hours != 2 || stay.Growth != 0 || stay.Labor != 1 {
		t.Errorf("a job that shrinks: have %+v, %+v", task, stay)
	}
}

// A wait that has lasted longer than any on record lasts a half longer still.
func TestWaitBeyondAll(t *testing.T) {
	h := Habits{Wait: [][]float64{{1, 2, 10}, nil}}
	for _, c := range []struct {
		kind          int
		already, want float64
	}{{0, 20, 31}, {0, 11, 17.5}, {0, 10, 10}, {1, 0, 1}} {
		if have := h.longer(c.kind, c.already); !slices.Equal(have, []float64{c.want}) {
			t.Errorf("%+v: have %v", c, have)
		}
	}
}

// What is in the shop stands before the inquiry: whole days of it if it can be
// worked on, nothing of it while it waits for a part.
func TestStaysBehindOpenJobs(t *testing.T) {
	h := Habits{Hours: [][]float64{{6.4}}, Growth: [][]float64{{1}}, Wait: [][]float64{{4, 12}}, Needs: []float64{0}, Rate: []float64{0}, Rush: []float64{0}, Later: []float64{0}}
	f := floor(t, hands(1), "one")
	mine := Inquiry{Hours: 6.4, PartsDays: 0}
	for what, c := range map[string]struct {
		open []OpenJob
		q    Inquiry
		days int
	}{
		"nobody":                   {nil, mine, 0},
		"one":                      {[]OpenJob{{DroppedOff: floorStart - 3}}, mine, 1},
		"one of two days":          {[]OpenJob{{DroppedOff: floorStart - 3, Quoted: 12.8}}, mine, 2},
		"one that waits":           {[]OpenJob{{DroppedOff: floorStart - 3, Waiting: true}}, mine, 0},
		"one that can wait":        {[]OpenJob{{DroppedOff: floorStart - 3, Deferrable: true}}, mine, 0},
		"an emergency before one":  {[]OpenJob{{DroppedOff: floorStart - 3}}, Inquiry{Hours: 6.4, Emergency: true}, 0},
		"an emergency behind one":  {[]OpenJob{{DroppedOff: floorStart - 3, Emergency: true}}, Inquiry{Hours: 6.4, Emergency: true}, 1},
		"a wait that ends earlier": {[]OpenJob{{DroppedOff: floorStart - 11, Waiting: true}}, Inquiry{Hours: 6.4, PartsDays: 1}, 2}, // 12 days of waiting end on day 1, when both can begin
	} {
		for _, s := range h.Stays(f, c.open, c.q, 5, rand.New(rand.NewPCG(1, 1))) {
			if s.Days != c.days {
				t.Errorf("%s: want day %d, have %+v", what, c.days, s)
			}
		}
	}
}

// A stay that is longer than most is followed to its end, with what comes in
// meanwhile: emergencies that fill every day keep the job from ever being begun.
func TestLongStaysSeeAllThatComes(t *testing.T) {
	h := Habits{Hours: [][]float64{{13}}, Growth: [][]float64{{1}}, Wait: [][]float64{{1}}, Needs: []float64{0}, Rate: []float64{1.5}, Rush: []float64{1}, Later: []float64{0}}
	f := floor(t, hands(1), "one")
	const longPart = 65
	for _, s := range h.Stays(f, nil, Inquiry{Hours: 13, PartsDays: longPart}, 10, rand.New(rand.NewPCG(1, 1))) {
		if s.Days != f.Days {
			t.Errorf("want it never ready, have %+v", s)
		}
	}
	h.Rate[0] = 0
	for _, s := range h.Stays(f, nil, Inquiry{Hours: 6.4, PartsDays: longPart}, 10, rand.New(rand.NewPCG(1, 1))) {
		// Day 65 after a Monday is a Wednesday; nine weekends have passed before it.
		if s.Days != longPart || s.Parts != longPart || s.Closed != 0 {
			t.Errorf("want it ready on the day of its part, have %+v", s)
		}
	}
	for _, s := range h.Stays(f, nil, Inquiry{Hours: 6.4, PartsDays: 1000}, 3, rand.New(rand.NewPCG(1, 1))) {
		if s.Days != f.Days || s.Parts != float64(f.Days) {
			t.Errorf("a part beyond the last day: have %+v", s)
		}
	}
}

// A usual day's hours of a kind are those of whoever does it and works longest.
func TestDailyHours(t *testing.T) {
	crew := Crew{{Name: "A", WeeklyHours: 40, Productivity: .8, Skills: []string{"gas"}}, {Name: "B", WeeklyHours: 30, Productivity: .8, Skills: []string{"all"}}, {Name: "C", WeeklyHours: 2, Productivity: .8, Skills: []string{"roof"}}}
	f := floor(t, crew, "gas", "roof", "else")
	for kind, want := range []float64{6.4, 4.8, 4.8} {
		if have := f.dailyHours(kind); math.Abs(have-want) > 1e-12 {
			t.Errorf("kind %d: want %v h, have %v", kind, want, have)
		}
	}
	few := floor(t, Crew{{Name: "C", WeeklyHours: 2, Productivity: .8, Skills: []string{"all"}}}, "one")
	if have := few.dailyHours(0); have != 1 {
		t.Errorf("want an hour at the least, have %v", have)
	}
}

// What a job takes is what was quoted, grown, or one of its kind's own.
func TestHoursOfAJob(t *testing.T) {
	h := Habits{Hours: [][]float64{{5}, nil}, Growth: [][]float64{{1.5}, nil}, Wait: make([][]float64, 2), Needs: make([]float64, 2)}
	r := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct {
		kind         int
		quoted, want float64
	}{{0, 0, 5}, {0, 2, 3}, {0, .2, .3}, {1, 0, 1}, {1, 2, 2}} {
		if have, _ := h.drawn(Inquiry{Kind: c.kind, Hours: c.quoted}, 1, r); math.Abs(have.Hours-c.want) > 1e-12 {
			t.Errorf("kind %d, quoted %v: want %v, have %v", c.kind, c.quoted, c.want, have.Hours)
		}
	}
}

// What is left of an open job: drawn from jobs of its kind that took longer
// than it has been worked on, less that; worked by hand, and in the mean of
// many draws what expected says.
func TestOpenJobs(t *testing.T) {
	h := Habits{Hours: [][]float64{{2, 4, 6, 8}, nil}, Growth: [][]float64{{1, 1.5, 2}, nil}, Wait: [][]float64{{4, 12}, nil}, Needs: []float64{0, 0}}
	for _, c := range []struct {
		what string
		j    OpenJob
		want float64 // mean of the hours left
	}{
		{"not begun, not quoted", OpenJob{}, 5},
		{"begun, not quoted", OpenJob{Worked: 4}, 3}, // of 6 and 8
		{"worked on longer than any", OpenJob{Worked: 9}, 0},
		{"quoted, not begun", OpenJob{Quoted: 4}, 6},
		{"quoted and begun", OpenJob{Quoted: 4, Worked: 4}, 3}, // of 1.5 and 2 times 4
		{"quoted, nearly done", OpenJob{Quoted: 4, Worked: 7}, 1},
		{"quoted, beyond any growth", OpenJob{Quoted: 4, Worked: 9}, 0},
		{"of a kind without a past", OpenJob{Kind: 1}, 1},
		{"of such a kind, quoted", OpenJob{Kind: 1, Quoted: 5, Worked: 2}, 3},
		{"of such a kind, beyond it", OpenJob{Kind: 1, Worked: 2}, 0},
	} {
		c.j.DroppedOff = floorStart - 2
		if have := h.opening(c.j, floorStart).expected(); math.Abs(have-c.want) > 1e-12 {
			t.Errorf("%s: want %v h, have %v", c.what, c.want, have)
		}
		r := rand.New(rand.NewPCG(4, 4))
		sum := 0.0
		const n = 4000
		for range n {
			task := h.opening(c.j, floorStart).task(r)
			if task.Hours < 0 || task.In != -2 || task.From != -2 || task.Rank != Usual || task.Kind != c.j.Kind {
				t.Fatalf("%s: have %+v", c.what, task)
			}
			sum += task.Hours / n
		}
		// The hours left spread by 2.3 h at the most: four standard errors are .15 h.
		if math.Abs(sum-c.want) > .15 {
			t.Errorf("%s: want %v h in the mean of the draws, have %.3f", c.what, c.want, sum)
		}
	}
	r := rand.New(rand.NewPCG(4, 4))
	for _, c := range []struct {
		what string
		j    OpenJob
		from int
		rank Rank
	}{
		{"waiting", OpenJob{DroppedOff: floorStart - 5, Waiting: true}, 7, Usual}, // twelve days in all
		{"waiting longer than any", OpenJob{DroppedOff: floorStart - 20, Waiting: true}, 11, Usual},
		{"not before a day", OpenJob{DroppedOff: floorStart - 5, NotBefore: floorStart + 3, Emergency: true}, 3, Urgent},
		{"a day that has been", OpenJob{DroppedOff: floorStart - 5, NotBefore: floorStart - 9, Deferrable: true}, -5, CanWait},
		{"waiting, and not before", OpenJob{DroppedOff: floorStart - 5, NotBefore: floorStart + 30, Waiting: true}, 30, Usual},
	} {
		if task := h.opening(c.j, floorStart).task(r); task.From != c.from || task.Rank != c.rank {
			t.Errorf("%s: want day %d, have %+v", c.what, c.from, task)
		}
	}
}

// Of rising values those above the least are left to draw from.
func TestBeyond(t *testing.T) {
	for _, c := range []struct {
		from  []float64
		least float64
		want  []float64
	}{{[]float64{1, 2, 3, 4, 5}, 2, []float64{3, 4, 5}}, {nil, 0, []float64{1}}, {nil, 3, []float64{3}}, {[]float64{1, 2}, 5, []float64{5}}, {[]float64{-1}, 0, []float64{-1}}} {
		if have := beyond(c.from, c.least); !slices.Equal(have, c.want) {
			t.Errorf("%+v: have %v", c, have)
		}
	}
}

// edge is a source whose first numbers are the least or the greatest there are.
type edge struct {
	first uint64
	n     int
	rest  rand.Source
}

func (e *edge) Uint64() uint64 {
	if e.n--; e.n >= 0 {
		return e.first
	}
	return e.rest.Uint64()
}

// The least and the greatest of random numbers don't bring what never comes,
// nor a kind that there isn't: .1, .2 and .3 add up to a little more than each
// taken from their sum leaves room for.
func TestRandomNumbersAtTheEdge(t *testing.T) {
	with := func(first uint64) *rand.Rand { return rand.New(&edge{first, 3, rand.NewPCG(1, 1)}) }
	h := Habits{Hours: [][]float64{{1}, {1}, {1}}, Growth: make([][]float64, 3), Wait: [][]float64{{9}, {9}, {9}}, Needs: make([]float64, 3), Rush: make([]float64, 3), Later: make([]float64, 3)}
	for _, c := range []struct {
		rate  []float64
		first uint64
		kind  int
	}{{[]float64{0, 1, 0}, 0, 1}, {[]float64{.1, .2, .3}, math.MaxUint64, 2}} {
		h.Rate = c.rate
		a := h.arrivals(rand.New(rand.NewPCG(1, 1)))
		a.r = with(c.first)
		if have := a.task(); have.Kind != c.kind || have.Rank != Usual || have.From != have.In {
			t.Errorf("rates %v: want kind %d without a part, have %+v", c.rate, c.kind, have)
		}
	}
	h.Rate = []float64{0, 0, 0}
	if have := h.arrivals(with(0)).day(); have < math.MaxInt32 {
		t.Errorf("want nothing to come at a rate of 0, have it on day %d", have)
	}
	if have, _ := h.drawn(Inquiry{Hours: 1, PartsDays: math.Inf(1)}, 1, with(0)); have.From != math.MaxInt32 {
		t.Errorf("want a part that never comes, have %+v", have)
	}
	if have, _ := h.drawn(Inquiry{Hours: 1, PartsDays: -1}, 1, with(0)); have.From != 0 {
		t.Errorf("want no part, have %+v", have)
	}
}

// Each future has numbers of its own, which the length of an earlier one doesn't
// move: the longer job is never ready earlier, at any share of the futures, and
// another seed brings other ones.
func TestLongerInquiryIsNeverEarlier(t *testing.T) {
	h := Habits{Hours: [][]float64{{2, 4, 9}, {1, 12}}, Growth: [][]float64{{1, 1, 1.4, 2}, {1}}, Wait: [][]float64{{3, 7, 14}, {5, 20}},
		Needs: []float64{.3, .2}, Rate: []float64{.6, .4}, Rush: []float64{.2, .3}, Later: []float64{.1, .1}}
	f := floor(t, hands(2), "one", "two")
	days := func(seed uint64, hours float64) []int {
		var out []int
		for _, s := range h.Stays(f, nil, Inquiry{Hours: hours, PartsDays: -1}, 60, rand.New(rand.NewPCG(seed, 0))) {
			out = append(out, s.Days)
		}
		return out
	}
	for seed := range uint64(20) {
		short := days(seed, 3)
		for _, hours := range []float64{4, 8, 20, 45} {
			long := days(seed, hours)
			for i := range long {
				if long[i] < short[i] {
					t.Fatalf("seed %d: of %v h the %dth is ready on day %d, of fewer hours on day %d", seed, hours, i, long[i], short[i])
				}
			}
			short = long
		}
		if slices.Equal(short, days(seed+100, 45)) {
			t.Errorf("want other futures of another seed than %d", seed)
		}
	}
}
