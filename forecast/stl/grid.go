package stl

import (
	"math"

	"freshet/forecast"
)

// grid lays the steps of a series on cells, m a season. With a whole period a
// step is a cell; else a step's cell follows from its date.
type grid struct {
	s     forecast.Series // its dates
	m     int
	whole bool
	first int
}

func newGrid(s forecast.Series) grid {
	g := grid{s: s.Like(nil), m: s.Lag(), whole: s.Period == math.Trunc(s.Period)}
	g.first = g.cell(0)
	return g
}

// cell gives the cell of step i, from 0; i may lie beyond the series.
func (g grid) cell(i int) int {
	if g.whole {
		return i
	}
	return int(math.Floor(g.s.Phase(i)*float64(g.m))) - g.first
}

// lay gives the mean of the values in each cell, bridged by a straight line
// where there are none, and which cells have one: 1 or 0, nil if all have.
func (g grid) lay(s forecast.Series) (y, observed []float64) {
	n := s.Len()
	sum := make([]float64, g.cell(n-1)+1)
	count := make([]float64, len(sum))
	for i, v := range s.Values {
		if !math.IsNaN(v) {
			c := g.cell(i)
			sum[c] += v
			count[c]++
		}
	}
	all := true
	for c, k := range count {
		sum[c] /= k // NaN if there are none
		count[c] = min(k, 1)
		all = all && k > 0
	}
	y = s.Like(sum).Fill()
	if all {
		return y, nil
	}
	return y, count
}

// ahead gives the season of the j-th step after the n of the series: that of
// the same cell in the last season there is.
func (p parts) ahead(n, j int) float64 {
	c := p.cell(n + j)
	last := len(p.seasonal) - p.m
	return p.seasonal[last+(c-last)%p.m]
}
