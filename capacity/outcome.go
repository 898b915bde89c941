package capacity

import (
	"errors"
	"fmt"
	"runtime"
	"sync"

	"freshet/forecast"
)

// Line is the work of some job kinds before those who can do it, path by path
// and week by week. It doesn't hold what waits for parts or approval. Work and
// Backlog have the weeks that were worked off, see Plan.Near.
type Line struct {
	Available []float64      // hours of those who can do it
	Arriving  forecast.Paths // hours that arrive, or whose parts come, in the week
	Work      forecast.Paths // hours at hand in the week: carried over and arriving
	Backlog   forecast.Paths // hours left at the week's end

	// ChanceShort is the share of paths in which more hours arrive in the
	// week than there are of those who can work on them.
	ChanceShort []float64

	class  int // the one after the last: of all
	weekly clock
}

// Outcome is what follows for the shop, with the line of all its work. Weeks and
// Short are of all the paths' weeks, the rest of those that were worked off.
type Outcome struct {
	Line
	Weeks   []Week         // the crew's hours
	Short   Shortage       // hours of the week's Arriving that nobody can work on in it
	Waiting forecast.Paths // hours that wait for parts or approval at the week's end
	LotFull []float64      // share of paths in which the lot is full on some day of the week; 0 without a limit
	OnLot   forecast.Paths // rigs on the lot on the week's fullest day
	Ready   []Days         // from drop-off to ready, of the jobs dropped off in the week, over all paths
	Lost    forecast.Paths // hours of drop-offs that go elsewhere; H is 0 where that isn't followed
	Skills  []Skill        // job kinds that only part of the crew can do, in order of the plan's Kinds

	classes []Line
}

// Skill is a group of job kinds that the same part of the crew can do, hands of
// a what-if left out, with their line. With one name it is a line with a single
// server. Its hours are the most there can be, and its chance of being short
// the least, as those few do other work too; its backlog is the floor's.
type Skill struct {
	Kinds []string
	Who   []string
	Line
}

// workOff is how many weeks of the crew's hours are known beyond the paths, to
// work off what is left at their end.
const workOff = 8

// asked is how much of an outcome is asked for, each with what comes before it.
type asked int

const (
	lines      asked = iota // Weeks, Backlog and Work
	arriving                // Arriving, Short and chances of it
	everything              // the lot, and the days until ready
)

// errNoHours says that nobody is at work.
var errNoHours = errors.New("need available hours in some week")

// outcome gives what measures are tried by, of all weeks.
func (p Plan) outcome(all asked) (Outcome, error) { return p.follow(p.Kinds[0].Hours.H, 0, all) }

// follow works the plan's first weeks off, with drop-offs going elsewhere while
// the line is longer than the crew does in so many weeks; at 0 weeks it never is.
func (p Plan) follow(near int, lostWeeks float64, all asked) (Outcome, error) {
	h, n := p.Kinds[0].Hours.H, p.Kinds[0].Hours.N()
	floor := p.floor(h + workOff)
	weeks := floor.weeks()
	like := func(weeks int) forecast.Paths { return forecast.NewPaths(p.From.Monday(), forecast.Week, weeks, n) }
	of := make([]Line, floor.classes+1) // each class, then all work
	for c := range of {
		perWeek := floor.hoursOf(weeks, c)
		of[c] = Line{class: c, Available: perWeek[:h:h], Work: like(near), Backlog: like(near), weekly: newClock(perWeek, workOff)}
		if all >= arriving {
			of[c].Arriving = like(h)
		}
	}
	whole := &of[floor.classes]
	if whole.weekly.rate == 0 {
		return Outcome{}, fmt.Errorf("capacity: %w from %s on, have none in %d weeks", errNoHours, longDay(weeks[0].Monday), len(weeks))
	}
	out := Outcome{Weeks: weeks[:h:h], classes: of[:floor.classes], Waiting: like(near), OnLot: like(near)}
	longest := make([]float64, near)
	if lostWeeks > 0 {
		for j := range longest {
			longest[j] = whole.weekly.within(float64(j), lostWeeks)
		}
		out.Lost = like(near)
	}
	jobs, rigs := p.jobs(), p.Lot.Rigs
	if rigs == 0 {
		rigs = 1
	}
	workers := runtime.GOMAXPROCS(0)
	ready := make([][]Days, workers)
	forecast.Together(workers, func(w int) error {
		own := runners.Get().(*runner)
		defer runners.Put(own)
		run := &own.run
		run.watched = floor.first(near)
		if all == everything {
			ready[w] = make([]Days, near)
			for j := range ready[w] {
				ready[w][j] = make(Days, floor.Days+1)
			}
		}
		for i := w; i < n; i += workers {
			tasks := jobs.tasks(i, &own.room)
			run.begin(floor, tasks)
			if all >= arriving {
				floor.arrive(tasks, out.classes, i)
			}
			if all < everything {
				out.path(i, run, floor, of, longest, rigs)
				continue
			}
			run.park(jobs.parked(i))
			for d := out.path(i, run, floor, of, longest, rigs); d < floor.Days && run.open > 0; d++ {
				run.day(d)
			}
			for k, t := range tasks {
				if 0 <= t.In && t.In < run.watched {
					done := int(run.jobs[k].ready)
					ready[w][floor.week(t.In)][done-min(t.In, done)]++
				}
			}
		}
		return nil
	})
	if all >= arriving {
		for c := range out.classes {
			l := &out.classes[c]
			l.ChanceShort = short([]Line{*l}, []set{{[]int{0}, l.Available}}).chances()
			whole.Arriving.Add(l.Arriving)
		}
		out.Short = short(out.classes, floor.sets(out.Weeks))
		whole.ChanceShort = out.Short.chances()
	}
	out.Line = *whole
	out.Skills = p.skills(floor, out.classes)
	if all == everything {
		out.Ready = ready[0]
		for _, more := range ready[1:] {
			for j := range more {
				for d, k := range more[j] {
					out.Ready[j][d] += k
				}
			}
		}
		out.LotFull = out.full(p.policy().LotSpaces)
	}
	return out, nil
}

// runner is what it takes to work paths off, used again from one to the next.
type runner struct {
	run  Run
	room []Task
}

var runners = sync.Pool{New: func() any { return new(runner) }}

// hoursOf gives by week the hours of those who do a class, or, for the one after
// the last, of the crew.
func (f *Floor) hoursOf(weeks []Week, class int) []float64 {
	sum := make([]float64, len(weeks))
	for t := range f.crew {
		if class == f.classes || f.can(t, class) {
			for j, w := range weeks {
				sum[j] += w.ByTechnician[t]
			}
		}
	}
	return sum
}

// full gives the share of paths on which so many rigs or more are on the lot,
// by week; 0 where there is no limit.
func (o *Outcome) full(spaces int) []float64 {
	share := make([]float64, o.OnLot.H)
	for k, rigs := range o.OnLot.Values {
		if spaces > 0 && rigs >= float64(spaces) {
			share[k%o.OnLot.H]++
		}
	}
	for j := range share {
		share[j] /= float64(o.OnLot.N())
	}
	return share
}

// arrive adds up the tasks' hours by class in the weeks in which they can first
// be worked on, those apart that can be at the floor's start.
func (f *Floor) arrive(tasks []Task, classes []Line, path int) {
	h := classes[0].Arriving.H
	end := min(f.Days, f.first(h))
	for i := range tasks {
		t := &tasks[i]
		if d := max(t.In, t.From); 0 <= d && d < end {
			classes[f.class[t.Kind]].Arriving.Values[path*h+f.week(d)] += t.Hours
		}
	}
}

// path works off the weeks of one path and writes them down. It gives the day
// after them.
func (o *Outcome) path(i int, run *Run, f *Floor, lines []Line, longest []float64, rigs float64) (d int) {
	all := &lines[f.classes]
	backlog, work, onLot, waiting := all.Backlog.Path(i), all.Work.Path(i), o.OnLot.Path(i), o.Waiting.Path(i)
	for j := range longest {
		run.Longest = longest[j]
		lost, most := run.lost, 0
		for end := f.first(j + 1); d < end; d++ {
			run.day(d)
			most = max(most, run.rigs)
		}
		if o.Lost.H > 0 {
			o.Lost.Path(i)[j] = run.lost - lost
		}
		onLot[j], waiting[j] = rigs*float64(most), run.waiting
		for c := range f.classes {
			left, done := run.inLine[c], run.done[c]
			lines[c].Backlog.Path(i)[j], lines[c].Work.Path(i)[j] = left, left+done
			backlog[j] += left
			work[j] += left + done
		}
		clear(run.done)
	}
	return d
}

// skills names the lines of kinds that only part of the crew can do.
func (p Plan) skills(f *Floor, lines []Line) []Skill {
	var out []Skill
	for c := range f.classes {
		s := Skill{Line: lines[c]}
		for t := range p.Crew {
			if f.can(t, c) {
				s.Who = append(s.Who, p.Crew[t].Name)
			}
		}
		if len(s.Who) == len(p.Crew) {
			continue
		}
		for k, d := range p.Kinds {
			if f.class[k] == c {
				s.Kinds = append(s.Kinds, d.Kind)
			}
		}
		out = append(out, s)
	}
	return out
}

// WeeksOfWork gives the backlog at each week's end as the weeks that those who
// can do it will need for it, by their hours of the weeks after: with the same
// hours every week it is backlog/hours, and +Inf where they have none at all.
func (l Line) WeeksOfWork() forecast.Paths {
	out := forecast.NewPaths(l.Backlog.Start, l.Backlog.Step, l.Backlog.H, l.Backlog.N())
	for k, b := range l.Backlog.Values {
		end := k%out.H + 1
		out.Values[k] = l.weekly.until(float64(end), l.weekly.done[end], b)
	}
	return out
}

// Peak gives the distribution over paths of the greatest backlog at any week's
// end, in weeks of work.
func (l Line) Peak() forecast.Empirical {
	weeks := l.WeeksOfWork()
	peaks := make([]float64, weeks.N())
	for i := range peaks {
		for _, v := range weeks.Path(i) {
			peaks[i] = max(peaks[i], v)
		}
	}
	return forecast.NewEmpirical(peaks)
}

// ChanceOver gives the share of paths in which the backlog passes so many
// weeks of work at some week's end.
func (l Line) ChanceOver(weeks float64) float64 {
	n := 0
	for _, k := range l.over(weeks) {
		n += min(k, 1)
	}
	return float64(n) / float64(l.Backlog.N())
}

// WeeksOver gives the mean number of weeks at whose end the backlog is more
// than so many weeks of work.
func (l Line) WeeksOver(weeks float64) float64 {
	n := 0
	for _, k := range l.over(weeks) {
		n += k
	}
	return float64(n) / float64(l.Backlog.N())
}

// tolerance is the hours by which a line may be longer than its limit, as sums
// round.
const tolerance = 1e-6

// over counts the weeks of each path at whose end more than so many weeks are
// needed for the backlog.
func (l Line) over(weeks float64) []int {
	n, limit := make([]int, l.Backlog.N()), l.weekly.limits(l.Backlog.H, weeks)
	for k, b := range l.Backlog.Values {
		if b > limit[k%l.Backlog.H]+tolerance {
			n[k/l.Backlog.H]++
		}
	}
	return n
}
