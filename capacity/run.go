package capacity

import "slices"

// Run is the line as it is worked off, with room that is used again. A Run is
// for one goroutine.
type Run struct {
	floor *Floor
	tasks []Task
	left  []float64 // hours, by task
	ready []int     // day on which it is, by task; the floor's Days before
	first []int     // first day on which somebody worked on it; the floor's Days before

	comes, next []int        // tasks that can be worked on from a day: its first, and the one after each; -1: none
	line        [][3][]place // by class and rank, the first in line last
	clock       []float64    // hours into the day, by technician
	held        []int        // tasks in somebody's hands at the day's end
}

// place is where a task stands in line: by its day of drop-off, then by its
// number.
type place int64

func placeOf(in, task int) place { return place(in)<<32 | place(task) }

func (p place) in() int   { return int(p >> 32) }
func (p place) task() int { return int(p & (1<<32 - 1)) }

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
		if last >= 0 && r.ready[last] <= d {
			break
		}
	}
	if first = f.Days; last >= 0 {
		first = r.first[last]
	}
	return r.ready, first
}

// begin takes in the tasks before the first day.
func (r *Run) begin(f *Floor, tasks []Task) {
	r.floor, r.tasks = f, tasks
	n := len(tasks)
	r.left, r.ready, r.first, r.next = sized(r.left, n), sized(r.ready, n), sized(r.first, n), sized(r.next, n)
	r.comes, r.clock = sized(r.comes, f.Days), sized(r.clock, f.crew)
	for d := range r.comes {
		r.comes[d] = -1
	}
	for len(r.line) < f.classes {
		r.line = append(r.line, [3][]place{})
	}
	for c := range r.line {
		for k := range r.line[c] {
			r.line[c][k] = r.line[c][k][:0]
		}
	}
	for i, t := range tasks {
		r.left[i], r.ready[i], r.first[i] = max(t.Hours, 2*enough), f.Days, f.Days
		if d := max(0, t.In, t.From); d < f.Days {
			r.next[i], r.comes[d] = r.comes[d], i
		}
	}
}

func sized[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

// day works one day; days are worked in order.
func (r *Run) day(d int) {
	f := r.floor
	for i := r.comes[d]; i >= 0; i = r.next[i] {
		r.join(i)
	}
	for c := range r.line[:f.classes] { // what has waited for six weeks can't wait any more
		waits := &r.line[c][CanWait]
		for n := len(*waits); n > 0 && (*waits)[n-1].in()+longestWait <= d; n-- {
			stand(&r.line[c][Usual], (*waits)[n-1])
			*waits = (*waits)[:n-1]
		}
	}
	hours := f.hours[d*f.crew : (d+1)*f.crew]
	clear(r.clock)
	r.held = r.held[:0]
	for {
		// Whoever is free first takes the next job.
		t := -1
		for i, at := range r.clock {
			if hours[i]-at > enough && (t < 0 || at < r.clock[t]) {
				t = i
			}
		}
		if t < 0 {
			break
		}
		i := r.take(t)
		if i < 0 {
			r.clock[t] = hours[t] // nothing for this one today
			continue
		}
		r.first[i] = min(r.first[i], d)
		h := min(hours[t]-r.clock[t], r.left[i])
		r.clock[t] += h
		if r.left[i] -= h; r.left[i] < enough {
			r.ready[i] = d
		} else {
			r.held = append(r.held, i)
		}
	}
	for _, i := range r.held {
		r.join(i)
	}
}

// join lets a task stand in its line.
func (r *Run) join(i int) {
	t := &r.tasks[i]
	stand(&r.line[r.floor.class[t.Kind]][t.Rank], placeOf(t.In, i))
}

func stand(line *[]place, p place) {
	at, _ := slices.BinarySearchFunc(*line, p, func(have, p place) int { return int(min(1, max(-1, p-have))) })
	*line = slices.Insert(*line, at, p)
}

// take gives the first task in line that a technician does, -1 if there is
// none, and takes it out of the line.
func (r *Run) take(technician int) int {
	for rank := Urgent; rank <= CanWait; rank++ {
		var from *[]place
		var first place
		for _, c := range r.floor.does[technician] {
			line := &r.line[c][rank]
			if n := len(*line); n > 0 && (from == nil || (*line)[n-1] < first) {
				from, first = line, (*line)[n-1]
			}
		}
		if from != nil {
			*from = (*from)[:len(*from)-1]
			return first.task()
		}
	}
	return -1
}
