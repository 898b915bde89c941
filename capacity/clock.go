package capacity

import "sort"

// clock tells when hours of work are done by a crew that works so many hours
// in each step.
type clock struct {
	done []float64 // hours done by the end of step k, from done[0] = 0
	rate float64   // hours a step after the last
}

// newClock runs on after the last step at the mean of the last tail steps, or
// of all if those have no hours.
func newClock(hours []float64, tail int) clock {
	c := clock{done: make([]float64, len(hours)+1)}
	for k, h := range hours {
		c.done[k+1] = c.done[k] + h
	}
	n := len(hours)
	tail = min(tail, n)
	if c.rate = (c.done[n] - c.done[n-tail]) / float64(tail); c.rate == 0 {
		c.rate = c.done[n] / float64(n)
	}
	return c
}

// worked gives the hours done by step t >= 0, which may be a fraction and
// mustn't lie after the last.
func (c clock) worked(t float64) float64 {
	k := int(t)
	if k >= len(c.done)-1 {
		return c.done[len(c.done)-1]
	}
	return c.done[k] + (t-float64(k))*(c.done[k+1]-c.done[k])
}

// until gives how many steps pass from t until so many hours are done, when
// worked(t) hours are done at t. It needs a rate above 0.
func (c clock) until(t, worked, hours float64) float64 {
	if hours <= 0 {
		return 0
	}
	end := worked + hours
	last := len(c.done) - 1
	if end > c.done[last] {
		return float64(last) + (end-c.done[last])/c.rate - t
	}
	// The first step by whose end the hours are done; it has hours itself.
	k := sort.SearchFloat64s(c.done, end)
	at := float64(k-1) + (end-c.done[k-1])/(c.done[k]-c.done[k-1])
	return max(0, at-t) // rounding may put hours of nearly nothing before closed days
}

// within gives the hours done in so many steps from step t on.
func (c clock) within(t, steps float64) float64 {
	last := float64(len(c.done) - 1)
	return c.worked(min(t+steps, last)) - c.worked(min(t, last)) + c.rate*(max(0, t+steps-last)-max(0, t-last))
}

// limits gives the hours done in so many steps from the end of each of the
// first n on.
func (c clock) limits(n int, steps float64) []float64 {
	out := make([]float64, n)
	for j := range out {
		out[j] = c.within(float64(j+1), steps)
	}
	return out
}
