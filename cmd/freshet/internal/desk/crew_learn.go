package desk

import (
	"fmt"
	"math"
	"slices"

	"freshet/forecast"
)

// Productivity is learned from blocks of weeks over the last two years, and
// from those alone at whose start and end work was waiting: else the crew clocks
// few hours for want of jobs, and what it did isn't all that it can do. Jobs that
// wait for parts are in line too, so that it takes more than a week's hours.
const (
	blockWeeks   = 4
	blocks       = 26
	leastWaiting = 1.5 // weeks of the crew's paid hours in line
	leastBusy    = 3   // busy blocks needed
)

// usualProductivity stands where it can't be learned, between lowUsual and
// highUsual, and below doubtfulShare what was learned is doubted aloud: common
// practice, no source.
const (
	usualProductivity   = .85
	lowUsual, highUsual = .6, .95
	doubtfulShare       = .6
)

// taken is the share of paid hours on jobs that was taken for technicians
// without one on record.
type taken struct {
	people int
	share  float64
	busy   int // blocks that it was learned from, 0 if it is the usual one
}

// learn gives technicians without a productivity on record the crew's clocked
// hours over its paid hours at work: the median over the busy blocks. A value on
// record wins.
func (s *shop) learn() {
	for _, t := range s.crew {
		if t.Productivity == 0 {
			s.share.people++
		}
	}
	if s.share.people == 0 {
		return
	}
	p, n := s.clockedOverPaid()
	if s.share.share, s.share.busy = p, n; n < leastBusy {
		s.share.share, s.share.busy = usualProductivity, 0
	}
	for i := range s.crew {
		if s.crew[i].Productivity == 0 {
			s.crew[i].Productivity = s.share.share
		}
	}
}

const howToSet = "Say what it is for each person on the page Time off, or in the crew file's column productivity."

// note says how the share came about, and how to mend it; "" where everybody's
// is on record.
func (t taken) note() string {
	switch {
	case t.people == 0:
		return ""
	case t.busy == 0:
		return fmt.Sprintf("%d of the crew have no share of hours on jobs on record, and in too few weeks was work waiting to learn it from: %.0f %% of their paid hours are taken to go on jobs, and %.0f to %.0f %% are possible (common practice, no source). %s",
			t.people, 100*t.share, 100*lowUsual, 100*highUsual, howToSet)
	}
	return fmt.Sprintf("%d of the crew have no share of hours on jobs on record: learned as %.0f %% from your clocked hours over paid hours at work, in the %d of the last %d four-week stretches in which work was waiting all along. %s",
		t.people, 100*t.share, t.busy, blocks, howToSet)
}

// checkFirst says of costly advice that it hangs on that share; "" where
// everybody's is on record.
func (t taken) checkFirst() string {
	switch {
	case t.people == 0:
		return ""
	case t.busy > 0 && t.share < doubtfulShare:
		return fmt.Sprintf(" Only %.0f %% of paid hours show on jobs, even with work waiting: check that first, since more hours on jobs may do in place of this.", 100*t.share)
	case t.busy > 0:
		return fmt.Sprintf(" It rests on %.0f %% of paid hours going on jobs, which was learned from your records: check that first.", 100*t.share)
	}
	return fmt.Sprintf(" It rests on a guess, that %.0f %% of paid hours go on jobs: check that first.", 100*t.share)
}

// clockedOverPaid gives the ratio and from how many busy blocks it comes, 0 where
// job hours aren't clocked ones.
func (s *shop) clockedOverPaid() (ratio float64, n int) {
	if s.source != clockedSource {
		return 0, 0
	}
	crew := slices.Clone(s.crew)
	for i := range crew {
		crew[i].Productivity = 1
	}
	var ratios []float64
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
		clocked, before, after := 0.0, 0.0, 0.0 // in line at the block's start and end
		for _, j := range s.book.Jobs {
			if math.IsNaN(j.Hours) || j.Ready >= s.ask.AsOf {
				continue
			}
			if j.Ready >= from && j.Ready < until {
				clocked += j.Hours
			}
			if j.DroppedOff < until && j.Ready >= until {
				after += j.Hours
			}
			if j.DroppedOff < from && j.Ready >= from {
				before += j.Hours
			}
		}
		if min(before, after) >= leastWaiting*present/blockWeeks {
			ratios = append(ratios, clocked/present)
		}
	}
	if len(ratios) == 0 {
		return 0, 0
	}
	return max(.2, min(1, forecast.NewEmpirical(ratios).Quantile(.5))), len(ratios)
}
