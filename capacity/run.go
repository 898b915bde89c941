package capacity

import (
	"slices"

	"freshet/forecast"
)

// Run is the line as it is worked off, with room that is used again. A Run is
// for one goroutine.
type Run struct {
	floor *Floor
	tasks []Task
	left  []float64 // hours, by task
	ready []int     // day on which it is, by task; the floor's Days before
	first []int     // first day on which somebody worked on it; the floor's Days before

	comes, next []int     // tasks that come in, or whose part comes, by day: the first, and the one after each; -1: none
	lines       []line    // by class, then by rank
	clock       []float64 // hours into the day, by technician
	free        []int     // technicians
	held        []int     // tasks in somebody's hands at the day's end

	inLine  []float64  // hours that can be worked on, by class
	done    []float64  // hours worked since the caller cleared it, by class
	open    int        // tasks that aren't ready yet
	stand   [ranks]int // tasks that stand in line
	waiting float64    // hours of tasks that wait for parts
	rigs    int        // on the lot
	leave   []int      // rigs that leave, by day
	lost    float64    // hours that went elsewhere

	// Longest is the hours in line beyond which drop-offs go elsewhere,
	// emergencies apart; at 0 they never do.
	Longest float64
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
		if last >= 0 && r.ready[last] <= d {
			break
		}
	}
	if first = f.Days; last >= 0 {
		first = r.first[last]
	}
	return r.ready, first
}

// Left gives the hours still to be worked on each task after Done, 0 of those
// that are ready or went elsewhere. It is valid until the next call of Done.
func (r *Run) Left() []float64 { return r.left }

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
	r.floor, r.tasks = f, tasks
	n := len(tasks)
	r.left, r.ready, r.first, r.next = sized(r.left, n), sized(r.ready, n), sized(r.first, n), sized(r.next, n)
	r.comes, r.leave, r.clock = sized(r.comes, f.Days), sized(r.leave, f.Days), sized(r.clock, f.crew)
	r.inLine, r.done = sized(r.inLine, f.classes), sized(r.done, f.classes)
	clear(r.inLine)
	clear(r.done)
	clear(r.leave)
	r.open, r.stand, r.waiting, r.rigs, r.lost = n, [ranks]int{}, 0, 0, 0
	for d := range r.comes {
		r.comes[d] = -1
	}
	r.lines = sized(r.lines, ranks*f.classes)
	for c := range r.lines {
		r.lines[c].clear()
	}
	for i := range tasks {
		r.expect(i)
	}
}

// more takes in another task on the morning of its drop-off.
func (r *Run) more(t Task) {
	r.tasks = append(r.tasks, t)
	r.left, r.ready, r.first, r.next = append(r.left, 0), append(r.ready, 0), append(r.first, 0), append(r.next, 0)
	r.open++
	r.expect(len(r.tasks) - 1)
}

// expect puts a task among those of the day of its drop-off.
func (r *Run) expect(i int) {
	t := &r.tasks[i]
	r.left[i], r.ready[i], r.first[i] = max(t.Hours, 2*enough), r.floor.Days, r.floor.Days
	r.on(max(0, t.In), i)
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
		r.next[i], r.comes[day] = r.comes[day], i
	}
}

func sized[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

// day works one day; days are worked in order.
func (r *Run) day(d int) {
	f := r.floor
	r.rigs -= r.leave[d]
	for i := r.comes[d]; i >= 0; {
		next := r.next[i]
		r.come(d, i)
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
	free := r.free[:0] // those who have hours left, whoever is free first in front
	for t, h := range hours {
		if r.clock[t] = 0; h > enough {
			free = append(free, t)
		}
	}
	r.free, r.held = free, r.held[:0]
	for len(free) > 0 && r.stand != [ranks]int{} {
		t := free[0]
		i := r.take(t)
		if i < 0 {
			free = free[1:] // nothing for this one today
			continue
		}
		r.first[i] = min(r.first[i], d)
		h := min(hours[t]-r.clock[t], r.left[i])
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
		class := f.class[r.tasks[i].Kind]
		r.inLine[class] -= h
		r.done[class] += h
		if r.left[i] -= h; r.left[i] < enough {
			r.ready[i], r.left[i] = d, 0
			r.open--
			if gone := d + 1 + r.tasks[i].Stays; gone < f.Days {
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
		for end := forecast.Week*(j+1) - r.floor.begun; d < end; d++ {
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
	t, class := &r.tasks[i], r.floor.class[r.tasks[i].Kind]
	late := t.From > max(0, t.In)
	switch {
	case d <= max(0, t.In):
		if r.Longest > 0 && t.In >= 0 && t.Rank != Urgent && r.Line()+r.left[i] > r.Longest {
			r.lost += r.left[i]
			r.left[i] = 0
			r.open--
			return
		}
		if r.rigs++; late {
			r.waiting += r.left[i]
			r.on(t.From, i)
			return
		}
	default:
		r.waiting -= r.left[i]
	}
	r.inLine[class] += r.left[i]
	r.join(i)
}

// join lets a task stand in its line.
func (r *Run) join(i int) {
	t := &r.tasks[i]
	r.stand[t.Rank]++
	r.lines[ranks*r.floor.class[t.Kind]+int(t.Rank)].stand(placeOf(t.In, i))
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
