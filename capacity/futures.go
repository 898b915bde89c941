package capacity

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"freshet/forecast"
)

// futures draws the jobs of a plan's paths.
type futures struct {
	Plan
	days []dropDays // by week
	open []opening
	kept [][]Task // by path, where they have been drawn
}

// jobs gives those drawn already, or what draws them.
func (p Plan) jobs() *futures {
	if p.drawn != nil {
		return p.drawn
	}
	f := &futures{Plan: p}
	for j := range p.Kinds[0].Hours.H {
		f.days = append(f.days, p.dropDays(p.From.Monday()+forecast.Date(forecast.Week*j)))
	}
	for _, j := range p.Open {
		f.open = append(f.open, p.Habits.opening(j, p.From))
	}
	return f
}

// draw gives the plan with its jobs drawn beforehand, for plans of the same
// work to be followed with them. The plan's work is that of one that may share
// its draws, under a change.
func (p Plan) draw(under WhatIf) Plan {
	once := p.kept
	if p.shared != nil {
		once = p.shared.of(sharedKey{p.Kinds[0].Hours.N(), under}, p.kept)
	}
	p.drawn = once()
	return p
}

// kept draws the jobs of all paths.
func (p Plan) kept() *futures {
	f := p.jobs()
	kept := make([][]Task, p.Kinds[0].Hours.N())
	var room []Task
	for i := range kept {
		kept[i] = slices.Clone(f.tasks(i, &room))
	}
	f.kept = kept
	return f
}

// sharedDraws are the jobs that plans of the same work are tried with.
type sharedDraws struct {
	mu sync.Mutex
	by map[sharedKey]func() *futures
}

type sharedKey struct {
	paths int
	under WhatIf
}

func (s *sharedDraws) of(k sharedKey, draw func() *futures) func() *futures {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.by[k] == nil {
		s.by[k] = sync.OnceValue(draw)
	}
	return s.by[k]
}

// SharingDraws gives the plan as one of several that differ in nothing but who
// is off: advice on them and its Stress then draw their jobs once for all.
func (p Plan) SharingDraws() Plan {
	p.shared = &sharedDraws{by: map[sharedKey]func() *futures{}}
	return p
}

// tasks gives the jobs of one path, drawn into room that is used again: those
// that are open, then those that the path's weeks bring, with its number of jobs
// and to its very hours. They are the same whoever works on them, and those of a
// week and kind the same whatever the others bring.
func (f *futures) tasks(path int, room *[]Task) []Task {
	if f.kept != nil {
		return f.kept[path]
	}
	var source rand.PCG
	r := rand.New(&source)
	seed := func(week, kind int) { source.Seed(f.Seed, uint64(path)<<32|uint64(week)<<16|uint64(kind)) }
	seed(0, 0)
	tasks := (*room)[:0]
	for _, o := range f.open {
		t := o.task(r)
		t.Stays = int(draw(f.Habits.PickUp, r, 0))
		tasks = append(tasks, t)
	}
	part := share(path)
	for j, days := range f.days {
		for k := range f.Kinds {
			d := &f.Kinds[k]
			hours := d.Hours.Path(path)[j]
			if hours == 0 {
				continue
			}
			seed(1+j, k)
			from, sum := len(tasks), 0.0
			for range max(1, int(d.Jobs.Path(path)[j]+part)) {
				t := f.Habits.newJob(k, days.at(r.Float64()), r)
				sum += t.Hours
				tasks = append(tasks, t)
			}
			times := hours / sum
			for i := range tasks[from:] {
				tasks[from+i].Hours *= times
			}
		}
	}
	*room = tasks
	return tasks
}

// parked draws the days on which the rigs leave that are ready.
func (f *futures) parked(path int) []int {
	r := rand.New(rand.NewPCG(f.Seed+1, uint64(path)))
	out := make([]int, f.Lot.Ready)
	for i := range out {
		out[i] = int(draw(f.Habits.PickUp, r, 0))
	}
	return out
}

// share gives each path its part of a job, evenly spread over the paths
// (Weyl's sequence of the golden ratio).
func share(path int) float64 {
	_, part := math.Modf(float64(path+1) * (math.Sqrt(5) - 1) / 2)
	return part
}

// newJob draws a job of a kind, dropped off on a day.
func (h *Habits) newJob(kind, in int, r *rand.Rand) Task {
	v := r.Float64()
	t := Task{Kind: kind, In: in, From: in, Hours: draw(h.Hours[kind], r, 1), Rank: rank(v < h.Rush[kind], v > 1-h.Later[kind])}
	if r.Float64() < h.Needs[kind] {
		t.From += int(math.Ceil(h.wait(kind, r)))
	}
	t.Stays = int(draw(h.PickUp, r, 0))
	return t
}

// dropDays is how a week's drop-offs divide among its days that are to come.
type dropDays struct {
	first int // day of the floor
	upTo  []float64
}

// dropDays gives those of the week from monday on. None come on a day on which
// the shop is closed by way of exception, unless the whole week is one.
func (p Plan) dropDays(monday forecast.Date) dropDays {
	from := max(p.From, monday)
	out := dropDays{first: int(from - p.From)}
	usual := p.Habits.Weekday
	if usual == [7]float64{} {
		usual = p.Calendar.Week
	}
	for _, exceptions := range []bool{true, false} {
		sum := 0.0
		out.upTo = out.upTo[:0]
		for d := from; d < monday+forecast.Week; d++ {
			if w := usual[d.Weekday()]; !exceptions || p.Calendar.Week[d.Weekday()] == 0 || p.Calendar.OpenShare(d) > 0 {
				sum += w
			}
			out.upTo = append(out.upTo, sum)
		}
		if sum > 0 {
			break
		}
	}
	return out
}

// at gives the day on which a share u of the week's drop-offs has come, u below
// 1; the first one where no day brings any.
func (d dropDays) at(u float64) int {
	all := d.upTo[len(d.upTo)-1]
	if all == 0 {
		return d.first
	}
	day := 0
	for day < len(d.upTo)-1 && d.upTo[day] <= u*all {
		day++
	}
	return d.first + day
}
