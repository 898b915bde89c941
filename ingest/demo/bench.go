package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"freshet/forecast"
)

// staff hires the crew and plans its time off.
func (s *Shop) staff() {
	y := s.Spec.From.Year()
	s.Crew = []Technician{
		{Name: "Ansel", WeeklyHours: 40, Productivity: .88, Skills: "all", HourlyCost: 36},
		{Name: "Brika", WeeklyHours: 40, Productivity: .86, Skills: skills("cooling"), HourlyCost: 31},
		{Name: "Corin", WeeklyHours: 40, Productivity: .84, Skills: skills("gas"), HourlyCost: 30},
		{Name: "Dessa", WeeklyHours: 36, Productivity: .85, Skills: skills(""), From: forecast.NewDate(y, 3, 1), HourlyCost: 27},
	}
	s.Crew = s.Spec.asMany(s.Crew)
	last := s.Spec.Until.Year() + 1
	for year := y; year <= last; year++ {
		s.Off = append(s.Off, Absence{"shop", forecast.NewDate(year, 12, 24), forecast.NewDate(year, 12, 31)})
		for i, t := range s.Crew {
			winter := forecast.NewDate(year, 1, 12).Monday() + forecast.Date(7*i)
			fall := forecast.NewDate(year, 10, 26).Monday() + forecast.Date(7*i)
			for _, monday := range []forecast.Date{winter, fall} {
				if monday >= t.From {
					s.Off = append(s.Off, Absence{t.Name, monday, monday + 4})
				}
			}
		}
	}
	// One week off is asked for in the season, the one that needs thought.
	s.Off = append(s.Off, Absence{s.Crew[2].Name, forecast.NewDate(last, 5, 18).Monday(), forecast.NewDate(last, 5, 18).Monday() + 4})
	slices.SortStableFunc(s.Off, func(a, b Absence) int { return int(a.From - b.From) })
	if o := s.Spec.OddYear; o > y {
		s.Events = append(s.Events, Event{"rally at the lake moved away", forecast.NewDate(o-1, 6, 12), forecast.NewDate(o-1, 6, 14), "one-time"})
	}
}

// skills lists the kinds that someone with one scarce skill may work on.
func skills(scarce string) string {
	var out []string
	for _, k := range kinds {
		if k.skill == "" || k.skill == scarce {
			out = append(out, k.name)
		}
	}
	return strings.Join(out, ";")
}

// bench works the line: each open day each technician takes the first job
// that is workable, not in another's hands and within their skills, emergencies
// before the rest and what can wait last.
type bench struct {
	shop *Shop
	rng  *rand.Rand
	line []int // open jobs as indexes into shop.Lines
	back []Line
	off  map[string][]Absence
}

func newBench(seed uint64, s *Shop) *bench {
	b := &bench{shop: s, rng: rand.New(rand.NewPCG(seed, 2)), off: map[string][]Absence{}}
	for _, a := range s.Off {
		b.off[a.Name] = append(b.off[a.Name], a)
	}
	return b
}

func (b *bench) away(name string, d forecast.Date) bool {
	return slices.ContainsFunc(b.off[name], func(a Absence) bool { return a.From <= d && d <= a.Until })
}

// take adds the day's drop-offs and the comebacks that fall on it.
func (b *bench) take(lines []Line) {
	for _, l := range lines {
		l.Promised = l.DroppedOff + forecast.Date(5+2*b.rng.IntN(6))
		b.line = append(b.line, len(b.shop.Lines))
		b.shop.Lines = append(b.shop.Lines, l)
	}
}

func (b *bench) work(d forecast.Date) {
	// A rig that comes back does so as a small job that can't wait long.
	kept := b.back[:0]
	for _, l := range b.back {
		if l.DroppedOff > d {
			kept = append(kept, l)
			continue
		}
		b.line = append(b.line, len(b.shop.Lines))
		b.shop.Lines = append(b.shop.Lines, l)
	}
	b.back = kept
	if wd := d.Weekday(); wd == 0 || wd == 6 || closed(d) || b.away("shop", d) {
		return
	}
	lines := b.shop.Lines
	slices.SortStableFunc(b.line, func(i, j int) int {
		if r := rank(lines[i], d) - rank(lines[j], d); r != 0 {
			return r
		}
		return int(lines[i].DroppedOff - lines[j].DroppedOff)
	})
	taken := map[int]bool{}
	for _, t := range b.shop.Crew {
		if d < t.From || t.Until != 0 && d > t.Until || b.away(t.Name, d) {
			continue
		}
		hours := t.WeeklyHours / 5 * t.Productivity * (1 + .08*b.rng.NormFloat64())
		for hours > .05 {
			i := b.next(d, t, taken)
			if i < 0 {
				break
			}
			l := &lines[i]
			taken[i] = true
			l.started = true
			h := min(hours, l.left)
			l.left -= h
			hours -= h
			if l.left < .05 {
				b.close(l, d)
			}
		}
	}
	b.line = slices.DeleteFunc(b.line, func(i int) bool { return lines[i].Ready != 0 })
}

// rank orders the line: emergencies first, what can wait last, but not for
// longer than six weeks.
func rank(l Line, today forecast.Date) int {
	switch {
	case l.Emergency:
		return 0
	case l.Deferrable && today < l.DroppedOff+42:
		return 2
	}
	return 1
}

func (b *bench) next(d forecast.Date, t Technician, taken map[int]bool) int {
	for _, i := range b.line {
		l := b.shop.Lines[i]
		if !taken[i] && l.Ready == 0 && l.workable <= d && (t.Skills == "all" || strings.Contains(t.Skills, l.Kind)) {
			return i
		}
	}
	return -1
}

func (b *bench) close(l *Line, d forecast.Date) {
	l.Ready = d
	l.Clocked = l.need
	l.Billed = math.Round(10*max(l.Quoted, l.need*(.95+.2*b.rng.Float64()))) / 10
	l.closes = d + l.leaves
	if l.ComebackOf == 0 && b.rng.Float64() < .03 {
		c := *l
		c.ComebackOf, c.RO = l.RO, 90000+len(b.shop.Lines)+len(b.back)
		c.DroppedOff = l.closes + 4 + forecast.Date(b.rng.IntN(30))
		c.Ready, c.closes, c.Clocked, c.Billed, c.PartsWait = 0, 0, 0, 0, -1
		c.need = math.Round(10*max(.5, .35*l.need)) / 10
		c.left, c.Quoted = c.need, max(.5, math.Round(2*c.need)/2)
		c.workable, c.partsArrive = c.DroppedOff, c.DroppedOff
		c.Promised = c.DroppedOff + 5
		c.Emergency, c.Deferrable, c.started = false, false, false
		c.Note = "again: " + l.Note
		b.back = append(b.back, c)
	}
}

// finish hides what the shop can't know yet on the last day.
func (b *bench) finish() {
	for i := range b.shop.Lines {
		l := &b.shop.Lines[i]
		if l.Ready != 0 && l.closes < b.shop.Spec.Until {
			l.PickedUp = l.closes
		}
		if l.PartsWait >= 0 && l.partsArrive >= b.shop.Spec.Until {
			l.PartsWait = -1
		}
	}
}

// poisson counts unit exponentials within mu: exact, and mu is small.
func poisson(r *rand.Rand, mu float64) int {
	n := 0
	for sum := r.ExpFloat64(); sum < mu; sum += r.ExpFloat64() {
		n++
	}
	return n
}

// gamma draws from the gamma distribution of whole shape n and scale 1.
func gamma(r *rand.Rand, n int) float64 {
	sum := 0.0
	for range n {
		sum += r.ExpFloat64()
	}
	return sum
}
