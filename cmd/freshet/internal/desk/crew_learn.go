package desk

import (
	"cmp"
	"math"
	"slices"

	"freshet/forecast"
)

// Productivity is learned from blocks of weeks over the last two years, and
// from those alone in which most work was in line: in a quiet one the crew
// clocks few hours for want of jobs.
const (
	blockWeeks = 4
	blocks     = 26
	leastBusy  = 6 // busy blocks needed
)

// usualProductivity stands where it can't be learned either: common practice,
// no source.
const usualProductivity = .85

// learn gives technicians without a productivity on record the crew's clocked
// hours over its paid hours at work: the median over the third of the blocks
// with most work in line. A value on record wins.
func (s *shop) learn() {
	unknown := 0
	for _, t := range s.crew {
		if t.Productivity == 0 {
			unknown++
		}
	}
	if unknown == 0 {
		return
	}
	p, n := s.clockedOverPaid()
	if n >= leastBusy {
		s.warn("%d of the crew have no productivity on record: learned from your clocked hours over paid hours at work, in the %d busiest of the last %d four-week stretches, as %.0f %%.",
			unknown, n, blocks, 100*p)
	} else {
		p = usualProductivity
		s.warn("%d of the crew have no productivity on record, and there are too few clocked hours to learn it from: %.0f %% of their paid hours are taken to go on jobs (common practice, no source).", unknown, 100*p)
	}
	for i := range s.crew {
		if s.crew[i].Productivity == 0 {
			s.crew[i].Productivity = p
		}
	}
}

// clockedOverPaid gives the ratio and from how many blocks it comes, 0 where
// job hours aren't clocked ones.
func (s *shop) clockedOverPaid() (ratio float64, n int) {
	if s.source != clockedSource {
		return 0, 0
	}
	crew := slices.Clone(s.crew)
	for i := range crew {
		crew[i].Productivity = 1
	}
	type block struct{ line, ratio float64 }
	var all []block
	for b := 1; b <= blocks; b++ {
		from := s.ask.AsOf.Monday() - forecast.Date(7*blockWeeks*b)
		until := from + 7*blockWeeks
		if from < s.book.Jobs[0].DroppedOff+7*blockWeeks {
			break // the line at the records' start isn't known
		}
		present := 0.0
		for _, w := range crew.Hours(s.calendar, s.absences, from, blockWeeks) {
			present += w.Available
		}
		if present == 0 {
			continue
		}
		clocked, line := 0.0, 0.0
		for _, j := range s.book.Jobs {
			if math.IsNaN(j.Hours) || j.Ready >= s.ask.AsOf {
				continue
			}
			if j.Ready >= from && j.Ready < until {
				clocked += j.Hours
			}
			if j.DroppedOff < until && j.Ready >= until {
				line += j.Hours
			}
			if j.DroppedOff < from && j.Ready >= from {
				line += j.Hours
			}
		}
		all = append(all, block{line / present, clocked / present})
	}
	slices.SortFunc(all, func(a, b block) int { return cmp.Compare(b.line, a.line) })
	all = all[:len(all)/3]
	if len(all) == 0 {
		return 0, 0
	}
	ratios := make([]float64, len(all))
	for i, b := range all {
		ratios[i] = b.ratio
	}
	return max(.2, min(1, forecast.NewEmpirical(ratios).Quantile(.5))), len(all)
}
