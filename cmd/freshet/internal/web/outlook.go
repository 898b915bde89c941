package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/report"
	"freshet/report/chart"
)

// needs are the words for what the desk can't answer yet.
var needs = map[error]string{
	workload.ErrNoRecords: "It needs your drop-offs, and none are on record yet.",
	desk.ErrNoCrew:        "It needs to know who works here, and nobody is on record yet.",
	desk.ErrNoHours:       "It needs the hours that jobs took, clocked, billed or quoted, and no finished job has any on record.",
	desk.ErrNoStays:       "It needs the days on which jobs were ready, and hardly any are on record.",
}

// need is said where a page can't show anything yet.
func need(err error) (string, bool) {
	for e, said := range needs {
		if errors.Is(err, e) {
			return said, true
		}
	}
	return "", false
}

// weeksAhead are the spans that a person can choose from.
var weeksAhead = []int{4, 13, 26, 52}

// usualWeeks is the span that is shown unasked: a season.
const usualWeeks = 13

// askOutlook and askCrew are what these pages ask the desk.
func askOutlook(weeks int) question[desk.Outlook] {
	return question[desk.Outlook]{fmt.Sprint("outlook ", weeks), weeks, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (desk.Outlook, error) {
		return d.Outlook(ctx, ask)
	}}
}

func askCrew(change capacity.WhatIf) question[desk.Crew] {
	return question[desk.Crew]{fmt.Sprintf("crew %+v", change), 26, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (desk.Crew, error) {
		return d.Crew(ctx, ask, change)
	}}
}

// chosenWeeks reads the span asked for.
func chosenWeeks(r *http.Request) int {
	n, err := strconv.Atoi(r.FormValue("weeks"))
	if err != nil || !slices.Contains(weeksAhead, n) {
		return usualWeeks
	}
	return n
}

// outlook shows drop-offs and hours to come, of all kinds or one.
func (s *Server) outlook(w http.ResponseWriter, r *http.Request) error {
	weeks, kind := chosenWeeks(r), r.FormValue("kind")
	data := struct {
		None     string
		Weeks    int
		Spans    []int
		Kind     string
		Kinds    []string
		Rows     []moved
		Hours    *chart.Chart
		Season   *chart.Chart // of all kinds
		Accuracy *report.Accuracy
		Model    string
		Warnings []string
	}{Weeks: weeks, Spans: weeksAhead, Kind: kind}
	o, err := answer(r.Context(), s, askOutlook(weeks))
	if said, ok := need(err); ok {
		data.None = said
		return s.show(w, r, page{Template: "outlook", Title: "Outlook", Data: data})
	}
	if err != nil {
		return err
	}
	rows, moves := o.Weeks, o.Moves
	data.Model, data.Warnings = o.Model.DropOffs, o.Warnings
	found := kind == ""
	for _, k := range o.Kinds {
		data.Kinds = append(data.Kinds, k.Kind)
		if k.Kind == kind {
			rows, moves, found = k.Weeks, k.Moves, true
		}
	}
	if !found {
		return problem{http.StatusNotFound, "The shop has no such job kind."}
	}
	data.Rows = movesOf(rows, moves)
	f := report.Facts{AsOf: o.AsOf}
	for i, x := range rows {
		f.Weeks = append(f.Weeks, report.Week{Monday: x.Week, Rest: i == 0 && o.AsOf != x.Week, DropOffs: x.DropOffs, Hours: x.Hours})
	}
	charts, err := chart.All(report.Build(f))
	if err != nil {
		return err
	}
	if len(charts) > 0 {
		data.Hours = &charts[0]
	}
	if rep, ok, err := s.latest(r.Context(), counter); err != nil {
		return err
	} else if ok {
		data.Accuracy = rep.Accuracy
		if i := slices.IndexFunc(rep.Charts, func(c chart.Chart) bool { return c.ID == "season" }); i >= 0 && kind == "" {
			data.Season = &rep.Charts[i]
		}
	}
	return s.show(w, r, page{Template: "outlook", Title: "Outlook", Data: data, Charts: true})
}

// ifForm is the what-if form, as it was sent.
type ifForm struct {
	Tech, From, Shift, Demand string
	Saturdays                 bool
}

// change reads the form, or says what is wrong with it.
func (f ifForm) change() (w capacity.WhatIf, err error) {
	number := func(text, what string, low, high int) int {
		if text == "" || err != nil {
			return 0
		}
		n, e := strconv.Atoi(text)
		if e != nil || n < low || n > high {
			err = mistake(fmt.Sprintf("%s: need a whole number from %d to %d.", what, low, high))
		}
		return n
	}
	w.AddTech = number(f.Tech, "Technicians", -10, 10)
	w.SeasonShiftDays = number(f.Shift, "Days later", -120, 120)
	w.DemandPercent = float64(number(f.Demand, "More work", -90, 300))
	w.Saturdays = f.Saturdays
	if f.From != "" && err == nil {
		if w.AddTechFrom, err = forecast.ParseDate(f.From); err != nil {
			err = mistake("From: need a day.")
		}
	}
	if w.AddTech == 0 {
		w.AddTechFrom = 0
	}
	return w, err
}

// crew shows the crew's hours against the work, as things stand and under a
// change that somebody tries out.
func (s *Server) crew(w http.ResponseWriter, r *http.Request) error {
	data := struct {
		None, Wrong string
		If          ifForm
		desk.Crew
		Rows  []crewRow
		Hours *chart.Chart
		All   report.Report
	}{If: ifForm{Tech: r.FormValue("tech"), From: r.FormValue("from"), Shift: r.FormValue("shift"), Demand: r.FormValue("demand"), Saturdays: r.FormValue("saturdays") != ""}}
	change, err := data.If.change()
	if err != nil {
		data.Wrong, change = err.Error(), capacity.WhatIf{}
	}
	c, err := answer(r.Context(), s, askCrew(change))
	if said, ok := need(err); ok {
		data.None = said
		return s.show(w, r, page{Template: "crew", Title: "Crew", Data: data})
	}
	if err != nil {
		return err
	}
	data.Crew = c
	f := report.Facts{AsOf: c.AsOf, Advice: c.Advice}
	for i, x := range c.Weeks {
		row := crewRow{x.Week, crewCells(x)}
		if c.Baseline != nil {
			for k, now := range crewCells(c.Baseline[i]) {
				if now != row.Cells[k] {
					row.Cells[k] = now + " → " + row.Cells[k]
				}
			}
		}
		data.Rows = append(data.Rows, row)
		f.Weeks = append(f.Weeks, report.Week{Monday: x.Week, Rest: i == 0 && c.AsOf != x.Week, Hours: x.ExpectedHours, DropOffs: forecast.Unknown(),
			Crew: &report.CrewWeek{Available: x.AvailableHours, Backlog: x.BacklogHours, Turnaround: x.TurnaroundDays, ChanceShort: x.ChanceShort}})
	}
	data.All = report.Build(f)
	charts, err := chart.All(data.All)
	if err != nil {
		return err
	}
	if len(charts) > 0 {
		data.Hours = &charts[0]
	}
	return s.show(w, r, page{Template: "crew", Title: "Crew", Data: data, Charts: true})
}

// crewRow is one week, as things stand and, where that differs, under the
// change.
type crewRow struct {
	Week  forecast.Date
	Cells []string
}

func crewCells(w desk.CrewWeek) []string {
	return []string{report.Whole(w.AvailableHours) + " h", report.Whole(w.ExpectedHours.Mean) + " h", report.Whole(100*w.ChanceShort) + " %",
		report.Whole(w.BacklogHours.P50) + " h", report.Whole(w.TurnaroundDays.P50)}
}
