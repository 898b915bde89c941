package stl

import (
	"math"
	"slices"
	"testing"

	"freshet/forecast/forecasttest"
)

// A value that wasn't observed has no weight, so what stands in for it must
// make no difference, in any loop.
func TestUnobservedHasNoSay(t *testing.T) {
	s := forecasttest.Weekly(260, 40, .4, 1)
	for _, i := range []int{50, 51, 52, 140, 259} {
		s.Values[i] = math.NaN()
	}
	for _, o := range []Settings{{}, {Robust: true}, {Periodic: true}} {
		y, observed := newGrid(s).lay(s)
		a := newWork(slices.Clone(y), observed, 52, o)
		a.run()
		for c, k := range observed {
			if k == 0 {
				y[c] += 1000
			}
		}
		b := newWork(y, observed, 52, o)
		b.run()
		if !slices.Equal(a.seasonal, b.seasonal) || !slices.Equal(a.trend, b.trend) {
			t.Errorf("%+v: an unobserved value changes the parts", o)
		}
	}
}

// Weeks that share a cell must be the same weeks of the year, within a cell's
// width and a step's.
func TestCellsGoByDate(t *testing.T) {
	s := forecasttest.Weekly(1000, 1, 0, 1)
	g := newGrid(s)
	shared, last := 0, -1
	for i := range s.Len() {
		c := g.cell(i)
		if c == last {
			shared++
		} else if c != last+1 {
			t.Fatalf("week %d: cell %d follows %d", i, c, last)
		}
		last = c
		place := s.Phase(i) - math.Floor(s.Phase(i))
		if from := float64((c+g.first)%52) / 52; place < from-1e-12 || place > from+1./52+1e-12 {
			t.Fatalf("week %d: %v of the year in a cell that begins at %v", i, place, from)
		}
	}
	// 1000 weeks are 19.17 years of 52.18 weeks: .18 × 19.17 are one too many.
	if shared != 3 && shared != 4 {
		t.Errorf("want 3 or 4 weeks that share a cell, have %d", shared)
	}
}
