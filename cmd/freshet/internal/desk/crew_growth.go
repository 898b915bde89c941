package desk

import "math"

// A big quote grows less, in proportion, than a small one: of jobs that are much
// the same, those quoted too low have the smaller quotes (regression to the mean,
// Galton 1886). learnGrowth gives by kind how clocked hours over quoted ones go
// with the quoted ones, as the slope of one's logarithm on the other's within
// kinds. A kind's slope leans on the shop's, and the shop's on 0, as if so many
// jobs said so whose quotes are apart by a factor of e.
func learnGrowth(jobs []visit, kinds int) []float64 {
	const worth = 10
	type sums struct{ n, x, y, xx, xy float64 }
	by := make([]sums, kinds)
	for _, v := range jobs {
		s, x, y := &by[v.kind], math.Log(v.quoted), math.Log(v.clocked/v.quoted)
		s.n++
		s.x += x
		s.y += y
		s.xx += x * x
		s.xy += x * y
	}
	var xx, xy float64
	for k := range by {
		s := &by[k]
		if s.n > 0 { // about the kind's means
			s.xx -= s.x * s.x / s.n
			s.xy -= s.x * s.y / s.n
		}
		xx += s.xx
		xy += s.xy
	}
	shop, out := xy/(xx+worth), make([]float64, kinds)
	for k, s := range by {
		out[k] = max(-.9, min(.5, (s.xy+worth*shop)/(s.xx+worth))) // above -1, so that who quotes more hours works longer
	}
	return out
}
