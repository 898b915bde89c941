package capacity

import (
	"slices"

	"freshet/forecast"
)

// Shortage is hours of each week that nobody can work on in it, path by path.
type Shortage struct{ forecast.Paths }

// chances gives the share of paths in which there are any, by week.
func (s Shortage) chances() []float64 {
	out := make([]float64, s.H)
	for k, v := range s.Values {
		if v > enough {
			out[k%s.H]++
		}
	}
	for j := range out {
		out[j] /= float64(s.N())
	}
	return out
}

// set is some classes of kinds with the hours of all who do any of them.
type set struct {
	classes []int
	hours   []float64 // by week
}

// short gives the most by which any set's arriving work is more than its hours.
func short(classes []Line, sets []set) Shortage {
	like := classes[0].Arriving
	out := Shortage{forecast.NewPaths(like.Start, like.Step, like.H, like.N())}
	weeks := make([]int, like.H)
	for j := range weeks {
		weeks[j] = j
	}
	out.fill(weeks, classes, sets)
	return out
}

// fill finds some weeks' anew.
func (s Shortage) fill(weeks []int, classes []Line, sets []set) {
	for at := 0; at < len(s.Values); at += s.H {
		path := s.Values[at:][:s.H]
		for _, j := range weeks {
			path[j] = 0
			for _, s := range sets {
				missing := -s.hours[j]
				for _, c := range s.classes {
					missing += classes[c].Arriving.Values[at+j]
				}
				path[j] = max(path[j], missing)
			}
		}
	}
}

// under gives the weeks and the shortage that the same work meets with the
// hours of another plan; what is left of it is as it was.
func (o Outcome) under(p Plan) Outcome {
	f, was := p.floor(len(o.Weeks)), o.Weeks
	o.Weeks = f.weeks()
	var others []int
	for j, w := range o.Weeks {
		if !slices.Equal(w.ByTechnician, was[j].ByTechnician) {
			others = append(others, j)
		}
	}
	o.Short.Values = slices.Clone(o.Short.Values)
	o.Short.fill(others, o.classes, f.sets(o.Weeks))
	o.ChanceShort = o.Short.chances()
	return o
}

// mostClasses is how many classes are looked at in all their sets; of more,
// each by itself and all together, as their sets are too many.
const mostClasses = 6

// sets gives the sets of classes to look at: the hours that can't be worked are
// the most by which any set's work is more than the hours of those who do any
// of it (Hall 1935, Ford and Fulkerson 1956 on flows and cuts).
func (f *Floor) sets(weeks []Week) []set {
	var out []set
	add := func(classes []int) {
		s := set{classes: classes, hours: make([]float64, len(weeks))}
		for t := range f.crew {
			if slices.ContainsFunc(classes, func(c int) bool { return f.can(t, c) }) {
				for j, w := range weeks {
					s.hours[j] += w.ByTechnician[t]
				}
			}
		}
		out = append(out, s)
	}
	if f.classes > mostClasses {
		all := make([]int, f.classes)
		for c := range all {
			all[c] = c
			add([]int{c})
		}
		add(all)
		return out
	}
	for in := 1; in < 1<<f.classes; in++ {
		var classes []int
		for c := range f.classes {
			if in&(1<<c) != 0 {
				classes = append(classes, c)
			}
		}
		add(classes)
	}
	return out
}

// Short gives the hours of each of the floor's weeks that nobody can work on in
// it, of tasks that arrive or whose parts come in the week.
func (f *Floor) Short(tasks []Task) []float64 {
	weeks := f.weeks()
	classes := make([]Line, f.classes)
	for c := range classes {
		classes[c].Arriving = forecast.NewPaths(f.Start.Monday(), forecast.Week, len(weeks), 1)
	}
	f.arrive(tasks, classes, 0)
	return short(classes, f.sets(weeks)).Values
}
