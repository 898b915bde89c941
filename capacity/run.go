package capacity

import "slices"

// Run is the line as it is worked off, with room that is used again. A Run is
// for one goroutine.
type Run struct {
	floor *Floor
	jobs  []job     // by task
	comes []int32   // the first of the jobs that come in, or whose part comes, by day; -1: none
	lines []line    // by class, then by rank
	clock []float64 // hours into the day, by technician
	free  []int     // technicians
	held  []int     // jobs in somebody's hands at the day's end
	ready []int     // what Done gives

	inLine  []float64  // hours that can be worked on, by class
	done    []float64  // hours worked since the caller cleared it, by class
	watched int        // day before which tasks that are dropped off, on the floor's first or later, count as open
	open    int        // those of them that aren't ready yet
	stand   [ranks]int // tasks that stand in line
	waiting float64    // hours of tasks that wait for parts
	rigs    int        // on the lot
	leave   []int      // rigs that leave, by day
	lost    float64    // hours that went elsewhere

	// Longest is the hours in line beyond which drop-offs go elsewhere,
	// emergencies apart; at 0 they never do.
	Longest float64
}

// job is a task as it is worked off, in little room: paths have many.
type job struct {
	left         float64 // hours
	in, from     int32   // days as the task has them
	stays        int32
	ready, first int32 // day on which it is, and on which somebody first worked on it; the floor's Days before
	next         int32 // the one after it among those that come on a day; -1: none
	line         int32 // in which it stands
}

// enough is the hours below which a job is done.
const enough = 1e-6

// Done works the tasks off over so many days, at most the floor's, and gives
// the day on which each is ready, the floor's Days where it isn't by then. The
// result is valid until the next call. Of tasks dropped off on one day the
// earlier stands first. It stops early once the task last is ready, if last
// isn't negative; the others' days are then the floor's Days. first is the
// first day on which somebody works on last.
func (r *Run) Done(f *Floor, tasks []Task, last, days int) (ready []int, first int) {
	r.begin(f, tasks)
	for d := range days {
		r.day(d)
		if last >= 0 && int(r.jobs[last].ready) <= d {
			break
		}
	}
	if first = f.Days; last >= 0 {
		first = int(r.jobs[last].first)
	}
	r.ready = sized(r.ready, len(tasks))
	for i := range r.ready {
		r.ready[i] = int(r.jobs[i].ready)
	}
	return r.ready, first
}

// Left gives the hours still to be worked on each task after Done, 0 of those
// that are ready or went elsewhere.
func (r *Run) Left() []float64 {
	left := make([]float64, len(r.jobs))
	for i := range left {
		left[i] = r.jobs[i].left
	}
	return left
}

// Lost gives the hours that went elsewhere in the last call of Done.
func (r *Run) Lost() float64 { return r.lost }

// Line gives the hours in line that can be worked on.
func (r *Run) Line() (sum float64) {
	for _, h := range r.inLine {
		sum += h
	}
	return sum
}

// begin takes in the tasks before the first day.
func (r *Run) begin(f *Floor, tasks []Task) {
	r.floor = f
	r.jobs = sized(r.jobs, len(tasks))
	r.comes, r.leave, r.clock = sized(r.comes, f.Days), sized(r.leave, f.Days), sized(r.clock, f.crew)
	r.inLine, r.done = sized(r.inLine, f.classes), sized(r.done, f.classes)
	clear(r.inLine)
	clear(r.done)
	clear(r.leave)
	r.open, r.stand, r.waiting, r.rigs, r.lost = 0, [ranks]int{}, 0, 0, 0
	for d := range r.comes {
		r.comes[d] = -1
	}
	r.lines = sized(r.lines, ranks*f.classes)
	for c := range r.lines {
		r.lines[c].clear()
	}
	for i := len(tasks) - 1; i >= 0; i-- { // so that those of a day come in their order, and stand at their line's end
		r.expect(i, &tasks[i])
	}
}

// more takes in another task on the morning of its drop-off.
func (r *Run) more(t Task) {
	r.jobs = append(r.jobs, job{})
	r.expect(len(r.jobs)-1, &t)
}

// expect puts a task among those of the day of its drop-off.
func (r *Run) expect(i int, t *Task) {
	never := int32(r.floor.Days)
	r.jobs[i] = job{max(t.Hours, 2*enough), int32(t.In), int32(min(t.From, r.floor.Days)), int32(min(t.Stays, r.floor.Days)), never, never, -1, int32(ranks*r.floor.class[t.Kind] + int(t.Rank))}
	r.opened(&r.jobs[i], 1)
	r.on(max(0, t.In), i)
}

// opened counts a task that comes or is done among those watched, if it is.
func (r *Run) opened(j *job, n int) {
	if 0 <= j.in && int(j.in) < r.watched {
		r.open += n
	}
}

// park takes in rigs that are ready, by the days on which they leave.
func (r *Run) park(leave []int) {
	for _, d := range leave {
		r.rigs++
		if d < r.floor.Days {
			r.leave[d]++
		}
	}
}

// on puts a task among those of a day.
func (r *Run) on(day, i int) {
	if day < r.floor.Days {
		r.jobs[i].next, r.comes[day] = r.comes[day], int32(i)
	}
}

func sized[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

// day works one day; days are worked in order.
func (r *Run) day(d int) {
	f := r.floor
	r.rigs -= r.leave[d]
	for i := r.comes[d]; i >= 0; {
		next := r.jobs[i].next
		r.come(d, int(i))
		i = next
	}
	for c := int(CanWait); c < len(r.lines); c += ranks { // what has waited for six weeks can't wait any more
		for r.lines[c].first < placeOf(d-longestWait+1, 0) {
			r.lines[c-1].stand(r.lines[c].pop())
			r.stand[CanWait]--
			r.stand[CanWait-1]++
		}
	}
	hours := f.hours[d*f.crew : (d+1)*f.crew]
	free := append(r.free[:0], f.there[d]...) // those who have hours left, whoever is free first in front
	clear(r.clock)
	r.free, r.held = free, r.held[:0]
	for len(free) > 0 && r.stand != [ranks]int{} {
		t := free[0]
		i := r.take(t)
		if i < 0 {
			free = free[1:] // nothing for this one today
			continue
		}
		j := &r.jobs[i]
		j.first = min(j.first, int32(d))
		h := min(hours[t]-r.clock[t], j.left)
		until := r.clock[t] + h
		if r.clock[t] = until; hours[t]-until <= enough {
			free = free[1:]
		} else {
			k := 1
			for ; k < len(free) && (r.clock[free[k]] < until || r.clock[free[k]] == until && free[k] < t); k++ {
				free[k-1] = free[k]
			}
			free[k-1] = t
		}
		class := j.line / ranks
		r.inLine[class] -= h
		r.done[class] += h
		if j.left -= h; j.left < enough {
			j.ready, j.left = int32(d), 0
			r.opened(j, -1)
			if gone := d + 1 + int(j.stays); gone < f.Days {
				r.leave[gone]++
			}
		} else {
			r.held = append(r.held, i)
		}
	}
	for _, i := range r.held {
		r.join(i)
	}
}

// passes tells whether the hours of a class, or, for the one after the last, of
// all that is in line, are more than the limit at some week's end.
func (r *Run) passes(class int, limit []float64) bool {
	d := 0
	for j := range limit {
		for end := r.floor.first(j + 1); d < end; d++ {
			r.day(d)
		}
		line := 0.
		for c, h := range r.inLine {
			if c == class || class == r.floor.classes {
				line += h
			}
		}
		if line > limit[j]+tolerance {
			return true
		}
	}
	return false
}

// come takes in a task on the day of its drop-off, and again on the day from
// which it can be worked on if that is a later one.
func (r *Run) come(d, i int) {
	j := &r.jobs[i]
	in := max(0, int(j.in))
	switch {
	case d <= in:
		if r.Longest > 0 && j.in >= 0 && Rank(j.line%ranks) != Urgent && r.Line()+j.left > r.Longest {
			r.lost += j.left
			j.left = 0
			r.opened(j, -1)
			return
		}
		if r.rigs++; int(j.from) > in {
			r.waiting += j.left
			r.on(int(j.from), i)
			return
		}
	default:
		r.waiting -= j.left
	}
	r.inLine[j.line/ranks] += j.left
	r.join(i)
}

// join lets a task stand in its line.
func (r *Run) join(i int) {
	j := &r.jobs[i]
	r.stand[j.line%ranks]++
	r.lines[j.line].stand(placeOf(int(j.in), i))
}

// take gives the first task in line that a technician does, -1 if there is
// none, and takes it out of the line.
func (r *Run) take(technician int) int {
	for rank, n := range r.stand {
		if n == 0 {
			continue
		}
		first, from := nobody, -1
		for _, c := range r.floor.does[technician] {
			if l := ranks*c + rank; r.lines[l].first < first {
				first, from = r.lines[l].first, l
			}
		}
		if from >= 0 {
			r.stand[rank]--
			r.lines[from].pop()
			return first.task()
		}
	}
	return -1
}
