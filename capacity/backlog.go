package capacity

import (
	"errors"
	"fmt"
	"math"

	"freshet/forecast"
)

// Outcome is what follows for the shop, path by path and week by week. Each of
// its Paths has the shape of the arriving hours.
type Outcome struct {
	Weeks    []Week         // the crew's hours, one for each step of the paths
	Arriving forecast.Paths // hours that arrive or become ready in the week, D
	Work     forecast.Paths // hours at hand in the week: carried over and arriving
	Backlog  forecast.Paths // ready hours left at the week's end
	Short    forecast.Paths // hours by which D exceeds what the crew has that week

	// ChanceShort is the share of paths in which more hours arrive in the
	// week than the crew has.
	ChanceShort []float64

	weekly, daily clock
	middle        []moment // of each week's hours
}

// moment is a time in days from the first Monday, with the hours worked by
// then.
type moment struct{ days, worked float64 }

// Backlog follows the open work through the weeks, B' = max(0, B+D-C) on each
// path, from B = the ready hours of load. C is the crew's hours of the week, D
// what arrives plus released[j], the hours of waiting jobs that become ready
// in week j (none after its end). Hours that wait aren't in the backlog.
//
// The arriving paths are weekly and begin in the week of weeks[0]; in that
// week they hold what is still to come, as weeks do. Turnaround counts through
// closed days, for a job dropped off when half of the week's hours are worked
// and half of its work has arrived; the job's own hours, its parts and approvals come on top. Weeks after
// the paths' end serve to work off what is left then, and after those the
// crew works on at the mean of the last eight.
//
// It returns an error if the shapes don't fit, if hours are negative or not
// finite, or if the crew has no hours in any week.
func Backlog(load Load, arriving forecast.Paths, weeks []Week, released []float64) (Outcome, error) {
	if err := checkBacklog(load, arriving, weeks, released); err != nil {
		return Outcome{}, err
	}
	const tail = 8
	perWeek := make([]float64, len(weeks))
	perDay := make([]float64, 0, 7*len(weeks))
	for j, w := range weeks {
		perWeek[j] = w.Available
		perDay = append(perDay, w.Daily[:]...)
	}
	daily := newClock(perDay, 7*tail)
	if daily.rate == 0 {
		return Outcome{}, fmt.Errorf("capacity: need available hours in some week from %v on, have none in %d weeks", weeks[0].Monday, len(weeks))
	}

	h, n := arriving.H, arriving.N()
	like := func() forecast.Paths { return forecast.NewPaths(weeks[0].Monday, forecast.Week, h, n) }
	out := Outcome{Weeks: weeks[:h:h], Arriving: like(), Work: like(), Backlog: like(), Short: like(),
		ChanceShort: make([]float64, h), weekly: newClock(perWeek, tail), daily: daily, middle: make([]moment, h)}
	for j, w := range out.Weeks {
		start := float64(7*j) + float64(w.From-w.Monday)
		t := start + daily.until(start, daily.worked(start), w.Available/2)
		if w.Available == 0 {
			t = (start + float64(7*j+7)) / 2
		}
		out.middle[j] = moment{t, daily.worked(t)}
	}
	ready := make([]float64, h)
	copy(ready, released)

	for i := range n {
		in := arriving.Path(i)
		d, work, left, short := out.Arriving.Path(i), out.Work.Path(i), out.Backlog.Path(i), out.Short.Path(i)
		b := load.Ready
		for j, v := range in {
			if !(v >= 0 && v <= math.MaxFloat64) {
				return Outcome{}, fmt.Errorf("capacity: need arriving hours of 0 or more, have %v in week %d of path %d", v, j+1, i+1)
			}
			c := perWeek[j]
			d[j] = v + ready[j]
			work[j] = b + d[j]
			if d[j] > c {
				short[j] = d[j] - c
				out.ChanceShort[j]++
			}
			b = max(0, work[j]-c)
			left[j] = b
		}
	}
	for j := range out.ChanceShort {
		out.ChanceShort[j] /= float64(n)
	}
	return out, nil
}

func checkBacklog(load Load, arriving forecast.Paths, weeks []Week, released []float64) error {
	switch {
	case arriving.H < 1 || len(arriving.Values) == 0:
		return errors.New("capacity: need at least 1 path of arriving hours, have 0")
	case len(weeks) < arriving.H:
		return fmt.Errorf("capacity: need the crew's hours for %d weeks, have %d", arriving.H, len(weeks))
	case arriving.Step != forecast.Week || arriving.Start != weeks[0].Monday:
		return fmt.Errorf("capacity: need arriving hours by 7 days from %v, have them by %d from %v", weeks[0].Monday, arriving.Step, arriving.Start)
	case len(released) > arriving.H:
		return fmt.Errorf("capacity: need released hours for %d weeks or fewer, have %d", arriving.H, len(released))
	case !(load.Ready >= 0) || math.IsInf(load.Ready, 1):
		return fmt.Errorf("capacity: need ready hours of 0 or more, have %v", load.Ready)
	}
	for j, v := range released {
		if !(v >= 0) || math.IsInf(v, 1) {
			return fmt.Errorf("capacity: need released hours of 0 or more, have %v in week %d", v, j+1)
		}
	}
	return nil
}

// Turnaround gives the calendar days until the work ahead of a job dropped off
// in the middle of the week is done.
func (o Outcome) Turnaround() forecast.Paths {
	out := forecast.NewPaths(o.Work.Start, o.Work.Step, o.Work.H, o.Work.N())
	for k, work := range o.Work.Values {
		j := k % out.H
		ahead := work - (o.Arriving.Values[k]+o.Weeks[j].Available)/2
		out.Values[k] = o.daily.until(o.middle[j].days, o.middle[j].worked, ahead)
	}
	return out
}

// WeeksOfWork gives the backlog at each week's end as the weeks that the crew
// will need for it, by the hours of the weeks after. With the same hours every
// week it is backlog/hours.
func (o Outcome) WeeksOfWork() forecast.Paths {
	out := forecast.NewPaths(o.Backlog.Start, o.Backlog.Step, o.Backlog.H, o.Backlog.N())
	for k, b := range o.Backlog.Values {
		end := k%out.H + 1
		out.Values[k] = o.weekly.until(float64(end), o.weekly.done[end], b)
	}
	return out
}

// Peak gives the distribution over paths of the greatest backlog at any week's
// end, in weeks of work.
func (o Outcome) Peak() forecast.Empirical {
	weeks := o.WeeksOfWork()
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
func (o Outcome) ChanceOver(weeks float64) float64 {
	n := 0
	for i := range o.Backlog.N() {
		if o.over(i, weeks) > 0 {
			n++
		}
	}
	return float64(n) / float64(o.Backlog.N())
}

// WeeksOver gives the mean number of weeks at whose end the backlog is more
// than so many weeks of work.
func (o Outcome) WeeksOver(weeks float64) float64 {
	n := 0
	for i := range o.Backlog.N() {
		n += o.over(i, weeks)
	}
	return float64(n) / float64(o.Backlog.N())
}

// over counts the weeks of a path at whose end the crew needs more than so
// many weeks for the backlog.
func (o Outcome) over(path int, weeks float64) (n int) {
	for j, b := range o.Backlog.Path(path) {
		if b > o.weekly.within(float64(j+1), weeks)+1e-9 { // sums of hours round
			n++
		}
	}
	return n
}
