package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/report"
	"freshet/report/chart"
)

// crewAhead is how many weeks the page of the crew shows.
const crewAhead = 26

// askCrew and askWhatIfs are what the page asks the desk: the whole answer with
// its advice, and what sliders ask, which has none and comes at once.
func askCrew(change capacity.WhatIf) question[desk.Crew] {
	return question[desk.Crew]{fmt.Sprintf("crew %+v", change), crewAhead, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (desk.Crew, error) {
		return d.Crew(ctx, ask, change)
	}}
}

var askWhatIfs = question[*desk.WhatIfs]{"what-ifs", crewAhead, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (*desk.WhatIfs, error) {
	return d.WhatIfs(ctx, ask)
}}

// slider is a number that is moved rather than typed, with its meaning in
// words.
type slider struct {
	Name, Label         string
	Value, Min, Max     int
	One, Many, Up, Down string // units, and which way they go
}

// None is said of a slider that changes nothing.
func (slider) None() string { return "no change" }

// Says gives the value in words.
func (s slider) Says() string { return s.At(s.Value) }

// At gives any value in words.
func (s slider) At(n int) string {
	unit, way := s.Many, s.Up
	if n < 0 {
		way, n = s.Down, -n
	}
	if n == 1 {
		unit = s.One
	}
	if n == 0 {
		return s.None()
	}
	return fmt.Sprintf("%d %s %s", n, unit, way)
}

// ifForm is the what-if form.
type ifForm struct {
	Tech, Shift, Demand slider
	From                string
	Saturdays           bool
	Wrong               string
}

// readIf reads the form and the change that it asks for: none where something
// is wrong.
func readIf(r *http.Request) (f ifForm, w capacity.WhatIf) {
	f = ifForm{Tech: slider{Name: "tech", Label: "Technicians", Min: -3, Max: 5, One: "technician", Many: "technicians", Up: "more", Down: "fewer"},
		Shift:  slider{Name: "shift", Label: "The season", Min: -60, Max: 60, One: "day", Many: "days", Up: "later", Down: "earlier"},
		Demand: slider{Name: "demand", Label: "Work coming in", Min: -50, Max: 100, One: "percent", Many: "percent", Up: "more", Down: "less"},
		From:   r.FormValue("from"), Saturdays: r.FormValue("saturdays") != ""}
	for _, s := range []*slider{&f.Tech, &f.Shift, &f.Demand} {
		text := r.FormValue(s.Name)
		if text == "" {
			continue
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < s.Min || n > s.Max {
			f.Wrong = fmt.Sprintf("%s: need a whole number from %d to %d.", s.Label, s.Min, s.Max)
			return f, w
		}
		s.Value = n
	}
	w = capacity.WhatIf{AddTech: f.Tech.Value, SeasonShiftDays: f.Shift.Value, DemandPercent: float64(f.Demand.Value), Saturdays: f.Saturdays}
	if f.From != "" {
		from, err := forecast.ParseDate(f.From)
		if err != nil {
			f.Wrong, f.From = "Start on: need a day.", ""
			return f, capacity.WhatIf{}
		}
		if w.AddTech != 0 {
			w.AddTechFrom = from
		}
	}
	return f, w
}

// tried is what the weeks look like, as things stand or under a change.
type tried struct {
	Says  string
	Whole string // where the exact numbers are, if these are rough
	Rows  []crewRow
	Hours *chart.Chart
}

// crewRow is one week, as things stand and, where that differs, under the
// change.
type crewRow struct {
	Week  forecast.Date
	Rest  bool // only what is left of it
	Cells []string
}

// tryOut shows weeks; now are the same ones without the change, nil if there
// is none.
func tryOut(asOf forecast.Date, scenario string, weeks, now []desk.CrewWeek) (t tried, err error) {
	f := report.Facts{AsOf: asOf}
	for i, x := range weeks {
		row := crewRow{x.Week, i == 0 && asOf != x.Week, crewCells(x)}
		if now != nil {
			for k, as := range crewCells(now[i]) {
				if as != row.Cells[k] {
					row.Cells[k] = as + " → " + row.Cells[k]
				}
			}
		}
		t.Rows = append(t.Rows, row)
		f.Weeks = append(f.Weeks, report.Week{Monday: x.Week, Rest: row.Rest, Hours: x.ExpectedHours, DropOffs: forecast.Unknown(),
			Crew: &report.CrewWeek{Available: x.AvailableHours, Backlog: x.BacklogHours, Turnaround: x.TurnaroundDays, ChanceShort: x.ChanceShort}})
	}
	t.Says = inShort(scenario, weeks, now)
	charts, err := chart.All(report.Build(f))
	if len(charts) > 0 {
		t.Hours = &charts[0]
	}
	return t, err
}

// inShort says what the weeks come to.
func inShort(scenario string, weeks, now []desk.CrewWeek) string {
	short, slowest := worst(weeks)
	shortNow, slowestNow := worst(now)
	begin := "As things stand"
	if scenario != "" {
		begin = "What if: " + scenario + ". Then"
	}
	many := map[int]string{0: "none of the next %d weeks is", 1: "1 of the next %d weeks is"}[short]
	if short > 1 {
		many = strconv.Itoa(short) + " of the next %d weeks are"
	}
	said := fmt.Sprintf("%s "+many+" more likely short of hours than not%s.", begin, len(weeks), insteadOf(scenario != "", short, shortNow))
	if slowest > 0 {
		said += fmt.Sprintf(" In the slowest week half of the jobs are ready within %s of drop-off%s.", report.Count(float64(slowest), "day"), insteadOf(slowestNow > 0, slowest, slowestNow))
	}
	return said
}

// insteadOf sets a number against what it is as things stand, if that is asked.
func insteadOf(asked bool, then, now int) string {
	switch {
	case !asked:
		return ""
	case then == now:
		return ", as now"
	}
	return fmt.Sprintf(", instead of %d", now)
}

// worst gives in how many weeks that aren't closed work outgrows the crew more
// likely than not, and the longest of their usual stays, in days; 0 where none is known.
func worst(weeks []desk.CrewWeek) (short, slowest int) {
	for _, w := range weeks {
		if w.AvailableHours > 0 && w.ChanceShort > .5 {
			short++
		}
		if w.TurnaroundDays.Known() {
			slowest = max(slowest, int(w.TurnaroundDays.P50+.5))
		}
	}
	return short, slowest
}

// crew shows the crew's hours against the work, as things stand and under a
// change that somebody tries out.
func (s *Server) crew(w http.ResponseWriter, r *http.Request) error {
	data := struct {
		None string
		If   ifForm
		desk.Crew
		Tried tried
		All   report.Report
	}{}
	var change capacity.WhatIf
	data.If, change = readIf(r)
	c, err := answer(r.Context(), s, askCrew(change))
	if said, ok := need(err); ok {
		data.None = said
		return s.show(w, r, page{Template: "crew", Title: "Crew", Data: data})
	}
	if err != nil {
		return err
	}
	data.Crew, data.All = c, report.Build(report.Facts{AsOf: c.AsOf, Advice: c.Advice})
	if data.Tried, err = tryOut(c.AsOf, c.Scenario, c.Weeks, c.Baseline); err != nil {
		return err
	}
	return s.show(w, r, page{Template: "crew", Title: "Crew", Data: data, Charts: true})
}

// crewAnswer is the weeks alone, while somebody moves the sliders: roughly, and
// with the way to the whole answer, which the page goes unless the slider moves on.
func (s *Server) crewAnswer(w http.ResponseWriter, r *http.Request) error {
	form, change := readIf(r)
	all, err := answer(r.Context(), s, askWhatIfs)
	if said, ok := need(err); ok {
		return s.show(w, r, page{Template: "trying", Title: "Crew", Data: tried{Says: said}})
	}
	if err != nil {
		return err
	}
	try, whole := all.TryRoughly, url.Values{}
	if r.FormValue("whole") != "" {
		// One at a time, as each takes the whole machine.
		s.trying.Lock()
		defer s.trying.Unlock()
		if r.Context().Err() != nil {
			return nil // the slider has moved on, and nobody waits for this one
		}
		try = all.Try
	} else {
		whole = r.URL.Query()
		whole.Set("whole", "yes")
	}
	weeks, now, err := try(change)
	if err != nil {
		return err
	}
	if change == (capacity.WhatIf{}) {
		now = nil
	}
	t, err := tryOut(all.AsOf, change.String(), weeks, now)
	if err != nil {
		return err
	}
	if len(whole) > 0 {
		t.Says, t.Whole = t.Says+" Roughly: the exact numbers follow.", "/crew/answer?"+whole.Encode()
	}
	if form.Wrong != "" {
		t.Says = form.Wrong + " " + t.Says
	}
	return s.show(w, r, page{Template: "trying", Title: "Crew", Data: t})
}

func crewCells(w desk.CrewWeek) []string {
	available, chance := report.Whole(w.AvailableHours)+" h", report.Whole(100*w.ChanceShort)+" %"
	if w.ShortOf != "" {
		chance += ": " + w.ShortOf
	}
	if w.AvailableHours == 0 {
		available, chance = "closed", "–"
	}
	return []string{available, report.Whole(w.ExpectedHours.Mean) + " h", chance, report.Whole(w.BacklogHours.P50) + " h", report.Whole(w.TurnaroundDays.P50)}
}
