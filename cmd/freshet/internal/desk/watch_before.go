package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
)

// Before is something that didn't fit and stands no more, as the kept reports
// told it. Its words are those of the last report that told it from its first
// day on: the ones after that tell of its end alone. Its note is what holds now.
type Before struct {
	report.Alert
	First forecast.Date `json:"first"` // Monday of the first week whose report told it, and
	Last  forecast.Date `json:"last"`  // of the last
}

// Says gives what it was and how odd, and what someone said of it. What might
// have been done is past.
func (b Before) Says() string { return strings.TrimSpace(b.Lead + " " + b.Note) }

// Told says in which weeks' reports it was, on a day.
func (b Before) Told(today forecast.Date) string {
	if b.First == b.Last {
		return fmt.Sprintf("In the report of the week of %s.", report.DayFrom(b.First, today))
	}
	return fmt.Sprintf("In the reports from the week of %s to that of %s.", report.DayFrom(b.First, today), report.DayFrom(b.Last, today))
}

// remembered is how many days what didn't fit is shown.
const remembered = 52 * forecast.Week

// LookBack is what didn't fit before.
type LookBack struct {
	Before    []Before       `json:"before"`     // what the last year's reports told that stands no more, the newest first
	KeptSince *forecast.Date `json:"kept_since"` // day of the first of these reports; nil: there is none
}

// LookBack answers what the reports kept by the day of a watch told that stands
// no more on it.
func (d *Desk) LookBack(ctx context.Context, w Watch) (LookBack, error) {
	out := LookBack{Before: []Before{}}
	runs, err := d.Store.RunsOfWeeks(ctx, w.AsOf-remembered, w.AsOf)
	if err != nil || len(runs) == 0 {
		return out, err
	}
	notes, err := d.Store.Notes(ctx, w.AsOf)
	if err != nil {
		return out, err
	}
	out.KeptSince = &runs[0].AsOf
	var all causes
	for _, run := range runs {
		var kept struct{ Alerts []report.Alert }
		if err := json.Unmarshal(run.Report, &kept); err != nil {
			return out, fmt.Errorf("the report of %s: %w", report.LongDay(run.AsOf), err)
		}
		for _, a := range kept.Alerts {
			all.tell(a, run.AsOf.Monday())
		}
	}
	for _, a := range w.Alerts {
		if b := all.find(a.told()); b != nil {
			b.Last = 0 // it stands
		}
	}
	for _, b := range all {
		if b.Last == 0 {
			continue
		}
		if b.ID != "" {
			n := noteOf(said(notes, func(n store.AlertNote) bool { return n.Alert == b.ID }))
			b.Note, b.Seen = n.String(), n != nil && n.Because == ""
		}
		out.Before = append(out.Before, b)
	}
	slices.SortStableFunc(out.Before, func(a, b Before) int { return cmp.Or(cmp.Compare(b.Last, a.Last), cmp.Compare(b.First, a.First)) })
	return out, nil
}

// causes are alerts, one each however many reports told it.
type causes []Before

// tell adds what the report of a week says.
func (c *causes) tell(a report.Alert, monday forecast.Date) {
	b := c.find(a)
	if b == nil {
		*c = append(*c, Before{a, monday, monday})
		return
	}
	b.Last = monday
	if b.ID = a.ID; a.Since <= b.Since {
		b.Alert = a
	}
}

// find gives the cause of an alert, nil if it is new: the one of its name, an odd
// week that goes on being a run, or in reports from before alerts had names that
// of its rule, kind and first day.
func (c causes) find(a report.Alert) *Before {
	name := func(id string) string {
		if rest, ok := strings.CutPrefix(id, "week-"); ok {
			return "run-" + rest
		}
		return id
	}
	i := slices.IndexFunc(c, func(b Before) bool {
		if b.ID == "" || a.ID == "" {
			return a.Rule == b.Rule && a.Kind == b.Kind && a.Since == b.Since
		}
		return name(a.ID) == name(b.ID)
	})
	if i < 0 {
		return nil
	}
	return &c[i]
}
