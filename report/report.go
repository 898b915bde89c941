// Package report says in words and tables what a week's run found, for the
// owner who reads it on Monday.
//
// A Report is a plain value in which everything is already computed: the
// packages below this one only render it. Nothing here does I/O, reads a
// clock, or asks a database, so that the same Facts always give the same
// Report.
//
// To use it: fill Facts, Build, and hand the Report to a renderer.
package report

import (
	"slices"
	"strings"

	"freshet/capacity"
	"freshet/forecast"
)

// Facts is what a run found.
type Facts struct {
	Shop      string         `json:"shop"`
	Demo      bool           `json:"demo"` // an invented shop
	AsOf      forecast.Date  `json:"as_of"`
	DataUntil *forecast.Date `json:"data_until"` // last day with a record
	Seed      uint64         `json:"seed"`
	Version   string         `json:"version"`
	ThisWeek  Week           `json:"this_week"` // the whole week of AsOf, what came in already included
	Weeks     []Week         `json:"weeks"`     // from the week of AsOf on; the first holds only what is left of it
	Season    []Point        `json:"season"`    // weeks around AsOf against the usual
	Kinds     []Kind         `json:"kinds"`
	Alerts    []Alert        `json:"alerts"`      // what doesn't fit, the most unlikely first, faults of the records before it; then what was explained, and what was seen
	Timing    string         `json:"season_says"` // the season's state in a sentence; empty if it isn't known
	Advice    []Advice       `json:"advice"`
	Accuracy  *Accuracy      `json:"accuracy"` // nil where the history is too short
	Model     string         `json:"model"`
	Hours     string         `json:"hours"` // where job hours come from
	Warnings  []string       `json:"warnings"`
	Failed    []string       `json:"failed,omitempty"` // parts of the week's work that went wrong, a sentence each
	Stale     string         `json:"stale,omitempty"`  // that it is an older day's, in a sentence; empty if it isn't
	Quotes    *QuotesDue     `json:"quotes,omitempty"` // last week's quotes against what came; nil where none fell due
}

// Week is one week ahead. Crew is nil where no crew is known.
type Week struct {
	Monday   forecast.Date   `json:"week"`
	Rest     bool            `json:"rest"` // part of the week is over
	DropOffs forecast.Spread `json:"drop_offs"`
	Hours    forecast.Spread `json:"hours"`
	Crew     *CrewWeek       `json:"crew"`
}

// Closed says that the crew has no hours in the week.
func (w Week) Closed() bool { return w.Crew != nil && w.Crew.Available == 0 }

// AnyShort says that in some week more work than hours is likely.
func (r Report) AnyShort() bool {
	for _, w := range r.Weeks {
		if w.Short() {
			return true
		}
	}
	return false
}

// Short says that more work than hours is likely.
func (w Week) Short() bool { return w.Crew != nil && !w.Closed() && w.Crew.ChanceShort >= .5 }

// CrewWeek is the crew's side of a week.
type CrewWeek struct {
	Available   float64         `json:"available_hours"`
	Backlog     forecast.Spread `json:"backlog_hours"` // at the week's end
	Turnaround  forecast.Spread `json:"turnaround_days"`
	ChanceShort float64         `json:"chance_short"`
	ShortOf     string          `json:"short_of,omitempty"` // the kinds that make it so, where the crew as a whole has the hours
}

// Point is one week of the season's picture. Actual is nil for weeks to come
// and weeks without records, Expected unknown for past ones.
type Point struct {
	Monday   forecast.Date   `json:"week"`
	Actual   *float64        `json:"actual"`
	Usual    *float64        `json:"usual"`
	Expected forecast.Spread `json:"expected"`
}

// Kind is one job kind: what came in the last four weeks and what is expected
// in the next four, in all.
type Kind struct {
	Name         string          `json:"kind"`
	LastFour     float64         `json:"last_four"`
	UsualFour    *float64        `json:"usual_four"`
	NextFour     forecast.Spread `json:"next_four"`
	NextHours    forecast.Spread `json:"next_four_hours"`
	HoursPerJob  *float64        `json:"hours_per_job"`
	FinishedJobs int             `json:"finished_jobs"`
}

// Accuracy is how the forecast of drop-offs would have done on the shop's own
// past, beside the simple rule: the same week last year.
type Accuracy struct {
	Origins    int     `json:"origins"`
	WeeksAhead int     `json:"weeks_ahead"`
	WAPE       float64 `json:"wape"`
	RuleWAPE   float64 `json:"rule_wape"`
	Coverage80 float64 `json:"coverage80"`
}

// Report is the facts with the words that a person reads first.
type Report struct {
	Facts
	Headline []string `json:"headline"`
	Cautions []string `json:"cautions"`
}

// Build writes the words.
func Build(f Facts) Report {
	r := Report{Facts: f}
	all := []string{r.thisWeek(), r.season(), r.odd(), r.crew(), r.decide()}
	r.Headline = slices.DeleteFunc(all, func(s string) bool { return s == "" })
	r.Cautions = r.cautions()
	return r
}

func (r *Report) cautions() []string {
	var out []string
	add := func(s string) {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	for _, a := range r.Advice {
		switch a.Do {
		case capacity.Overtime, capacity.OpenSaturday:
			add(capacity.OvertimeCaution)
		case capacity.MoveWork, capacity.FillLull, capacity.Subcontract:
			add(capacity.SafetyCaution)
		}
	}
	for _, k := range r.Kinds {
		name := strings.ToLower(k.Name)
		switch {
		case strings.Contains(name, "cool"), strings.Contains(name, "air"), strings.Contains(name, "refriger"):
			add(capacity.RefrigerantCaution)
		case strings.Contains(name, "applian"), strings.Contains(name, "gas"), strings.Contains(name, "propane"), strings.Contains(name, "furnace"):
			add(capacity.GasCaution)
		}
	}
	return out
}
