package desk

import (
	"math"
	"slices"

	"freshet/capacity"
	"freshet/forecast"

	"gonum.org/v1/gonum/stat"
)

// learnHabits gives what finished jobs of n kinds told on a day. A job's hours
// are the clocked ones, else the quoted ones.
func learnHabits(visits []visit, n int, day forecast.Date) capacity.Habits {
	h := capacity.Habits{Hours: make([][]float64, n), Growth: make([][]float64, n), Wait: make([][]float64, n),
		Needs: make([]float64, n), Rate: make([]float64, n), Rush: make([]float64, n), Later: make([]float64, n)}
	var all struct{ growth, wait []float64 }
	var quoted []visit
	jobs, finished := make([]float64, n), make([]float64, n)
	for _, v := range visits {
		if v.in >= day {
			break
		}
		if v.in < day-habitDays {
			continue
		}
		jobs[v.kind]++
		h.Weekday[v.in.Weekday()]++
		if v.emergency {
			h.Rush[v.kind]++
		}
		if v.deferrable {
			h.Later[v.kind]++
		}
		if v.in >= day-rateDays {
			h.Rate[v.kind] += 1. / rateDays
		}
		if v.ready == 0 || v.ready >= day {
			continue
		}
		finished[v.kind]++
		if v.left >= v.ready && v.left < day {
			h.PickUp = append(h.PickUp, float64(v.left-v.ready))
		}
		if took := v.took(); took > 0 {
			h.Hours[v.kind] = append(h.Hours[v.kind], took)
		}
		if v.clocked > 0 && v.quoted > 0 {
			quoted = append(quoted, v)
		}
		if v.parts > 0 {
			h.Needs[v.kind]++
			h.Wait[v.kind], all.wait = append(h.Wait[v.kind], v.parts), append(all.wait, v.parts)
		}
	}
	h.Hours, h.Lean = borrow(h.Hours), learnGrowth(quoted, n)
	for _, v := range quoted {
		g := min(10, v.clocked/v.quoted) / math.Pow(v.quoted, h.Lean[v.kind])
		h.Growth[v.kind], all.growth = append(h.Growth[v.kind], g), append(all.growth, g)
	}
	for k := range n {
		h.Rush[k] /= max(1, jobs[k])
		h.Later[k] /= max(1, jobs[k])
		h.Needs[k] /= max(1, finished[k])
		for _, of := range []struct {
			own *[]float64
			all []float64
		}{{&h.Growth[k], all.growth}, {&h.Wait[k], all.wait}} {
			if len(*of.own) < fewOfAKind {
				*of.own = append(*of.own, of.all...)
			}
			slices.Sort(*of.own)
		}
	}
	return h
}

// took gives the hours that a finished job took, as far as the records tell; 0
// if they don't.
func (v visit) took() float64 {
	if v.clocked > 0 {
		return v.clocked
	}
	return v.quoted
}

// borrow gives each kind's hours, rising: its own where there are enough. A kind
// with few has a middle of its own, drawn toward that of all jobs by as much
// as kinds differ less than jobs of one kind do, and spreads as jobs of the other
// kinds do about their kind's. It is the empirical Bayes estimate of a mean of
// logarithms (Efron and Morris 1973, Journal of the American Statistical
// Association 68, from memory).
func borrow(own [][]float64) [][]float64 {
	logs := make([][]float64, len(own))
	var all, middles, about []float64
	for k, hours := range own {
		for _, h := range hours {
			logs[k] = append(logs[k], math.Log(h))
		}
		all = append(all, logs[k]...)
		if len(hours) >= fewOfAKind {
			middles = append(middles, stat.Mean(logs[k], nil))
		}
	}
	if len(all) == 0 {
		return own
	}
	middle := stat.Mean(all, nil)
	for _, l := range logs {
		m := middle
		if len(l) >= fewOfAKind {
			m = stat.Mean(l, nil)
		} else if len(middles) > 0 {
			continue
		}
		for _, x := range l {
			about = append(about, x-m)
		}
	}
	const least, usual, most = .5, 2., 5. // jobs of its own that weigh as much as all others
	weigh := usual
	if len(middles) >= 3 {
		if between := stat.Variance(middles, nil); between > 0 {
			weigh = max(least, min(most, stat.Variance(about, nil)/between))
		}
	}
	out := make([][]float64, len(own))
	for k, hours := range own {
		if len(hours) >= fewOfAKind {
			out[k] = slices.Clone(hours)
		} else {
			m := middle
			if n := float64(len(hours)); n > 0 {
				m = (n*stat.Mean(logs[k], nil) + weigh*middle) / (n + weigh)
			}
			for _, x := range about {
				out[k] = append(out[k], math.Exp(m+x))
			}
		}
		slices.Sort(out[k])
	}
	return out
}
