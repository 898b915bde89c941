package web

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/ingest/store"
)

// openFor is how far back an unfinished job still counts as open: older ones
// were most likely finished and never closed on paper.
const openFor = 365

// ages are the groups of open jobs.
var ages = []struct {
	upTo forecast.Date // days
	name string
}{{6, "Less than a week"}, {13, "1 to 2 weeks"}, {27, "2 to 4 weeks"}, {openFor, "4 weeks or more"}}

type aged struct {
	Name string
	Jobs []openJob
}

type openJob struct {
	store.Job
	Days int
}

// jobs shows open work by age and by what it waits for.
func (s *Server) jobs(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	open, err := s.shop().Open(ctx, today-openFor, today+1)
	if err != nil {
		return err
	}
	type waits struct {
		For   string
		Jobs  int
		Hours float64 // quoted
	}
	data := struct {
		Groups []aged
		Waits  []waits
		Jobs   int
	}{Jobs: len(open)}
	by := map[string]*waits{}
	for _, g := range ages {
		data.Groups = append(data.Groups, aged{Name: g.name})
	}
	for _, j := range open {
		days := today - j.DroppedOff
		i := slices.IndexFunc(ages, func(a struct {
			upTo forecast.Date
			name string
		}) bool {
			return days <= a.upTo
		})
		data.Groups[i].Jobs = append(data.Groups[i].Jobs, openJob{j, int(days)})
		status := cmp.Or(strings.TrimSpace(j.Status), "not said")
		if by[status] == nil {
			by[status] = &waits{For: status}
		}
		by[status].Jobs++
		by[status].Hours += j.Quoted.V
	}
	for _, v := range by {
		data.Waits = append(data.Waits, *v)
	}
	slices.SortFunc(data.Waits, func(a, b waits) int { return cmp.Or(b.Jobs-a.Jobs, strings.Compare(a.For, b.For)) })
	slices.Reverse(data.Groups) // the oldest first: they are the ones to look at
	return s.show(w, r, page{Template: "jobs", Title: "Jobs", Data: data})
}
