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
	Hours  [][]float64 // clocked hours of a job, above 0 and rising; a kind without any takes 1
	Growth [][]float64 // clocked hours over quoted ones of a job quoted at one hour, rising; without any 1
	Lean   []float64   // the power of its quoted hours by which a job's growth is another: above -1; nil: the same at any
	Wait   [][]float64 // days until a part came, of jobs that needed one, rising
	Needs  []float64   // share of jobs that need a part
	Rate   []float64   // drop-offs a calendar day, of late
	Rush   []float64   // share of emergencies
	Later  []float64   // share of jobs that can wait

	Weekday [7]float64 // how drop-offs divide among the days of the week, Sunday first; all 0: evenly among open ones
	PickUp  []float64  // days from ready to picked up, of all kinds; none: the rig leaves at once
}

// Inquiry is the job that a customer asks about.
type Inquiry struct {
	Kind       int
	Hours      float64 // quoted; 0 if not known: the kind's usual
	PartsDays  float64 // from the floor's first day until its part is there; below 0 if not known: it is then ordered once the rig is here
	Emergency  bool
	Deferrable bool

	DropOff int  // day of the floor on which the rig comes, which is 0 or later
	Held    bool // its place in line is kept from the floor's first day on; else it stands behind all who come before
}

// Stay is one possible stay of the rig, and what its days are made of.
type Stay struct {
	Days   int     // ready on that day of the floor; the floor's Days if not within them
	Start  int     // first day of the floor on which somebody works on it
	Parts  float64 // days from drop-off until its part is there
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
	inShop := make([]opening, len(open))
	for i, j := range open {
		inShop[i] = h.opening(j, f.Start)
	}
	daily := f.dailyHours(q.Kind)
	closed := make([]int, f.Days+1)
	for d := range f.Days {
		closed[d+1] = closed[d]
		if !f.Open(d) {
			closed[d+1]++
		}
	}
	own := runners.Get().(*runner)
	defer runners.Put(own)
	run := &own.run
	var source rand.PCG
	r := rand.New(&source)
	for i := range out {
		source.Seed(rng.Uint64(), uint64(i))
		tasks := own.room[:0]
		for _, o := range inShop {
			tasks = append(tasks, o.task(r))
		}
		mine, s := h.drawn(q, daily, r)
		mine.From = min(mine.From, f.Days)
		last := len(tasks)
		own.room = append(tasks, mine)
		run.begin(f, own.room)
		// Others come from the next day on, drawn as long as it takes.
		coming := h.arrivals(r)
		for d := 0; d < f.Days && int(run.jobs[last].ready) == f.Days; d++ {
			for coming.day() <= d {
				run.more(coming.task())
			}
			run.day(d)
		}
		s.Days, s.Start = int(run.jobs[last].ready), int(run.jobs[last].first)
		s.Parts = float64(max(0, mine.From-q.DropOff))
		s.Closed = closed[s.Days] - closed[min(mine.From, s.Days)]
		out[i] = s
	}
	slices.SortStableFunc(out, func(a, b Stay) int { return cmp.Compare(a.Days, b.Days) })
	return out
}

// drawn gives the inquiry's task in one future, and what of its stay is known
// by that.
func (h Habits) drawn(q Inquiry, daily float64, r *rand.Rand) (Task, Stay) {
	t := Task{Kind: q.Kind, In: q.DropOff, Rank: rank(q.Emergency, q.Deferrable)}
	if q.Held {
		t.In = 0
	}
	grown, usual := draw(h.Growth[q.Kind], r, 1), draw(h.Hours[q.Kind], r, 1)
	if q.Hours > 0 {
		grown *= h.lean(q.Kind, q.Hours)
		t.Hours = q.Hours * grown
	} else {
		t.Hours, grown = usual, 1
	}
	needs, wait := r.Float64() < h.Needs[q.Kind], h.wait(q.Kind, r)
	t.From = q.DropOff
	switch {
	case q.PartsDays >= 0:
		t.From = max(t.From, int(math.Ceil(min(q.PartsDays, math.MaxInt32))))
	case needs:
		t.From += int(math.Ceil(wait))
	}
	labor := t.Hours / grown / daily
	return t, Stay{Labor: labor, Growth: max(0, t.Hours/daily-labor)}
}

// arrivals are jobs that come while the inquiry's is in the shop. They can pass
// it where they are more urgent, or where it waits for its part.
type arrivals struct {
	Habits
	r     *rand.Rand
	total float64 // a day
	at    float64 // days after the floor's first morning
}

func (h Habits) arrivals(r *rand.Rand) *arrivals {
	a := &arrivals{Habits: h, r: r}
	for _, rate := range h.Rate {
		a.total += rate
	}
	a.next()
	return a
}

// next goes on to the next; at a rate of 0 none comes, whatever is drawn.
func (a *arrivals) next() {
	if e := a.r.ExpFloat64(); a.total > 0 {
		a.at += e / a.total
	} else {
		a.at = math.Inf(1)
	}
}

// day gives the day of the floor on whose morning the next is there.
func (a *arrivals) day() int { return int(min(a.at, math.MaxInt32)) + 1 }

// task gives the next.
func (a *arrivals) task() Task {
	u, k := a.total*a.r.Float64(), 0
	for k < len(a.Rate)-1 && u >= a.Rate[k] {
		u -= a.Rate[k]
		k++
	}
	t := a.newJob(k, a.day(), a.r)
	a.next()
	return t
}

// lean gives by how much the growth of a job quoted at so many hours, above 0,
// is another than at one hour.
func (h Habits) lean(kind int, quoted float64) float64 {
	if h.Lean == nil {
		return 1
	}
	return math.Pow(quoted, h.Lean[kind])
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

func (h *Habits) wait(kind int, r *rand.Rand) float64 { return draw(h.Wait[kind], r, 0) }

// opening is an open job as it is drawn: what is left of its hours, and when
// the part comes that it waits for.
type opening struct {
	Task        // but for its hours, and for its part
	hours       []float64
	times, less float64   // of the hours drawn
	waits       []float64 // days from drop-off until its part is there; nil where it doesn't wait
}

func (h Habits) opening(j OpenJob, start forecast.Date) opening {
	in := int(j.DroppedOff - start)
	o := opening{Task: Task{Kind: j.Kind, In: in, From: max(in, int(j.NotBefore-start)), Rank: rank(j.Emergency, j.Deferrable)}, less: j.Worked}
	if o.hours, o.times = beyond(h.Hours[j.Kind], j.Worked), 1; j.Quoted > 0 {
		o.times = j.Quoted * h.lean(j.Kind, j.Quoted)
		o.hours = beyond(h.Growth[j.Kind], j.Worked/o.times)
	}
	if j.Waiting {
		o.waits = h.longer(j.Kind, float64(-in))
	}
	return o
}

func (o opening) task(r *rand.Rand) Task {
	t := o.Task
	t.Hours = max(0, o.times*draw(o.hours, r, 0)-o.less)
	t.From = max(t.From, int(math.Ceil(draw(o.waits, r, 0)))+t.In)
	return t
}

// expected gives the mean of what is left of its hours.
func (o opening) expected() float64 { return max(0, o.times*stat.Mean(o.hours, nil)-o.less) }

// beyond gives those of the values, which rise, that are above a least one, and
// that one where none is; 1 or more without any.
func beyond(from []float64, least float64) []float64 {
	if len(from) == 0 {
		return []float64{max(1, least)}
	}
	if least > 0 {
		i, _ := slices.BinarySearch(from, least+enough)
		from = from[i:]
	}
	if len(from) == 0 {
		return []float64{least}
	}
	return from
}

// longer gives the waits for parts that lasted so many days or longer: a part
// that isn't there in the morning may come on the same day. Where none did, it is
// a half longer.
func (h Habits) longer(kind int, already float64) []float64 {
	w := h.Wait[kind] // rising
	if i, _ := slices.BinarySearch(w, already-1e-9); i < len(w) {
		return w[i:]
	}
	return []float64{1.5*already + 1}
}
