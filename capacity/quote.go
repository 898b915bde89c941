package capacity

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"freshet/forecast"

	"gonum.org/v1/gonum/stat"
)

// Habits is what a shop's finished jobs tell of those to come, by job kind.
type Habits struct {
	Hours  [][]float64 // clocked hours of a job; a kind without any borrows from all
	Growth [][]float64 // clocked over quoted hours
	Wait   [][]float64 // days until a part came, of jobs that needed one
	Needs  []float64   // share of jobs that need a part
	Rate   []float64   // drop-offs a calendar day, of late
	Rush   []float64   // share of emergencies
	Later  []float64   // share of jobs that can wait

	Weekday [7]float64 // how drop-offs divide among the days of the week, Sunday first; all 0: evenly among open ones
	PickUp  []float64  // days from ready to picked up, of all kinds; none: the rig leaves at once
}

// Inquiry is the job that a customer asks about, dropped off on the floor's
// first day.
type Inquiry struct {
	Kind       int
	Hours      float64 // quoted; 0 if not known: the kind's usual
	PartsDays  float64 // until its part is there; below 0 if not known
	Emergency  bool
	Deferrable bool
}

// Stay is one possible stay of the rig: calendar days after drop-off, and what
// they are made of.
type Stay struct {
	Days   int // ready on that day; the floor's Days if not within them
	Start  int // first day on which somebody works on it
	Parts  float64
	Labor  float64 // open days that the job's own quoted hours take a technician
	Growth float64 // and those by which it grew
	Closed int     // closed days after its part was there
}

// Stays follows the inquiry through n possible futures, each with its own
// hours, parts and arrivals, and gives them by length. Random numbers are drawn
// in the same order whatever the inquiry's hours, so that a longer job never
// gets an earlier date.
func (h Habits) Stays(f *Floor, open []OpenJob, q Inquiry, n int, rng *rand.Rand) []Stay {
	out := make([]Stay, n)
	var run Run
	var tasks []Task
	daily := f.dailyHours(q.Kind)
	closed := make([]int, f.Days+1)
	for d := range f.Days {
		closed[d+1] = closed[d]
		if !f.Open(d) {
			closed[d+1]++
		}
	}
	for i := range out {
		seed := rng.Uint64()
		// Most stays are short. A longer one is followed again from its start,
		// with the same numbers and more days of arrivals.
		for days := min(shortStay, f.Days); ; days = f.Days {
			r := rand.New(rand.NewPCG(seed, uint64(i)))
			tasks = tasks[:0]
			for _, j := range open {
				tasks = append(tasks, h.open(j, f.Start, r))
			}
			mine, s := h.drawn(q, daily, r)
			mine.From = min(mine.From, f.Days)
			last := len(tasks)
			tasks = h.arrive(append(tasks, mine), days, r)
			ready, start := run.Done(f, tasks, last, days)
			if ready[last] >= days && days < f.Days {
				continue
			}
			s.Days, s.Start = min(ready[last], f.Days), start
			s.Parts = float64(mine.From)
			s.Closed = closed[s.Days] - closed[min(mine.From, s.Days)]
			out[i] = s
			break
		}
	}
	slices.SortStableFunc(out, func(a, b Stay) int { return cmp.Compare(a.Days, b.Days) })
	return out
}

// shortStay is the days of arrivals that most stays need.
const shortStay = 60

// drawn gives the inquiry's task in one future, and what of its stay is known
// by that.
func (h Habits) drawn(q Inquiry, daily float64, r *rand.Rand) (Task, Stay) {
	t := Task{Kind: q.Kind, Rank: rank(q.Emergency, q.Deferrable)}
	grown, usual := h.growth(q.Kind, r), h.hours(q.Kind, 0, r)
	if t.Hours = q.Hours * grown; q.Hours == 0 {
		t.Hours, grown = usual, 1
	}
	needs, wait := r.Float64() < h.Needs[q.Kind], h.wait(q.Kind, r)
	switch {
	case q.PartsDays >= 0:
		wait = q.PartsDays
	case !needs:
		wait = 0
	}
	t.From = int(math.Ceil(wait))
	labor := t.Hours / grown / daily
	return t, Stay{Labor: labor, Growth: max(0, t.Hours/daily-labor)}
}

// arrive adds jobs that come while the inquiry's is in the shop. They can pass
// it where they are more urgent, or where it waits for its part.
func (h Habits) arrive(tasks []Task, days int, r *rand.Rand) []Task {
	total := 0.0
	for _, rate := range h.Rate {
		total += rate
	}
	if total == 0 {
		return tasks
	}
	for at := r.ExpFloat64() / total; at < float64(days); at += r.ExpFloat64() / total {
		u, k := total*r.Float64(), 0
		for k < len(h.Rate)-1 && u >= h.Rate[k] {
			u -= h.Rate[k]
			k++
		}
		tasks = append(tasks, h.newJob(k, int(at)+1, r))
	}
	return tasks
}

func rank(emergency, deferrable bool) Rank {
	switch {
	case emergency:
		return Urgent
	case deferrable:
		return CanWait
	}
	return Usual
}

// dailyHours is what a technician who does the kind works on a usual open day.
func (f *Floor) dailyHours(kind int) float64 {
	most := 1.0
	for i, h := range f.hours {
		if slices.Contains(f.does[i%f.crew], f.class[kind]) {
			most = max(most, h)
		}
	}
	return most
}

func draw(from []float64, r *rand.Rand, without float64) float64 {
	if len(from) == 0 {
		return without
	}
	return from[r.IntN(len(from))]
}

func (h Habits) growth(kind int, r *rand.Rand) float64 { return draw(h.Growth[kind], r, 1) }

func (h Habits) wait(kind int, r *rand.Rand) float64 { return draw(h.Wait[kind], r, 0) }

// hours draws what a job takes: the quoted hours grown, or the kind's usual.
func (h Habits) hours(kind int, quoted float64, r *rand.Rand) float64 {
	grown, usual := h.growth(kind, r), draw(h.Hours[kind], r, 1)
	if quoted > 0 {
		return quoted * grown
	}
	return usual
}

// open draws an open job's task: what is left of its hours, and when the part
// comes that it waits for.
func (h Habits) open(j OpenJob, start forecast.Date, r *rand.Rand) Task {
	in := int(j.DroppedOff - start)
	t := Task{Kind: j.Kind, In: in, From: max(in, int(j.NotBefore-start)), Rank: rank(j.Emergency, j.Deferrable)}
	grown, usual := beyond(h.Growth[j.Kind], j.Worked/max(j.Quoted, enough), r, 1), beyond(h.Hours[j.Kind], j.Worked, r, 1)
	if j.Quoted > 0 {
		usual = j.Quoted * grown
	}
	t.Hours = max(0, usual-j.Worked)
	if wait := h.longer(j.Kind, float64(-in), r); j.Waiting {
		t.From = max(t.From, int(math.Ceil(wait))+in)
	}
	return t
}

// expected gives the mean of what is left of an open job's hours.
func (h Habits) expected(j OpenJob) float64 {
	least, from, times := j.Worked, h.Hours[j.Kind], 1.
	if j.Quoted > 0 {
		least, from, times = j.Worked/j.Quoted, h.Growth[j.Kind], j.Quoted
	}
	if len(from) == 0 {
		return max(0, times-j.Worked)
	}
	if i, _ := slices.BinarySearch(from, least+enough); least > 0 {
		if from = from[i:]; len(from) == 0 {
			return 0
		}
	}
	return times*stat.Mean(from, nil) - j.Worked
}

// beyond draws from the values, which rise, that are above a least one, and
// gives that one where none is.
func beyond(from []float64, least float64, r *rand.Rand, without float64) float64 {
	if len(from) == 0 {
		return max(without, least)
	}
	i := 0
	if least > 0 {
		i, _ = slices.BinarySearch(from, least+enough)
	}
	u := r.Float64()
	if i == len(from) {
		return least
	}
	return from[i+int(u*float64(len(from)-i))]
}

// longer draws a wait for parts that has lasted so many days already, from
// those that lasted longer. Where none did, it lasts a half longer.
func (h Habits) longer(kind int, already float64, r *rand.Rand) float64 {
	w := h.Wait[kind] // rising
	i, _ := slices.BinarySearch(w, already+1e-9)
	u := r.Float64()
	if i == len(w) {
		return 1.5*already + 1
	}
	return w[i+int(u*float64(len(w)-i))]
}
