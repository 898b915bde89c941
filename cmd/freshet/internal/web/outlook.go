package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"freshet/cmd/freshet/internal/desk"
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

// askOutlook is what the page asks the desk.
func askOutlook(weeks int) question[desk.Outlook] {
	return question[desk.Outlook]{fmt.Sprint("outlook ", weeks), weeks, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (desk.Outlook, error) {
		return d.Outlook(ctx, ask)
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
