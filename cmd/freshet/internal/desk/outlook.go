package desk

import (
	"context"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/naive"
	"freshet/forecast/smooth"
	"freshet/forecast/workload"
	"freshet/report"
)

// model is the recipe for the shop's work: the total by whichever of its
// models did best on the shop's own history.
func model() workload.Model {
	return workload.Model{Total: func(p workload.Past) forecast.Model {
		return combine.Best{Candidates: []forecast.Model{workload.Shifting(p), naive.Profile{}, smooth.HoltWinters{}, naive.Seasonal{}}, Origins: 6}
	}}
}

// Outlook is what is expected to come in, week by week.
type Outlook struct {
	Schema    int            `json:"schema"`
	AsOf      forecast.Date  `json:"as_of"`
	DataUntil *forecast.Date `json:"data_until"` // last day with a record
	Weeks     []OutlookWeek  `json:"weeks"`
	Kinds     []OutlookKind  `json:"kinds"`
	Model     struct {
		DropOffs string `json:"drop_offs"`
		Hours    string `json:"hours"`
	} `json:"model"`
	Warnings []string `json:"warnings"`

	Moves []Move `json:"-"` // what makes each of Weeks
}

// OutlookWeek is one week: job lines dropped off, and the labor hours they
// bring, whenever those are worked.
type OutlookWeek struct {
	Week     forecast.Date   `json:"week"`
	DropOffs forecast.Spread `json:"drop_offs"`
	Hours    forecast.Spread `json:"hours"`
}

// OutlookKind is the outlook of one job kind.
type OutlookKind struct {
	Kind  string        `json:"kind"`
	Weeks []OutlookWeek `json:"weeks"`

	Moves []Move `json:"-"` // what makes each of Weeks
}

// Outlook answers how many drop-offs and hours to expect.
func (d *Desk) Outlook(ctx context.Context, ask Ask) (Outlook, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return Outlook{}, err
	}
	f, err := s.futures()
	if err != nil {
		return Outlook{}, err
	}
	return s.outlook(f), nil
}

func (s *shop) outlook(f workload.Futures) Outlook {
	out := Outlook{Schema: 1, AsOf: s.ask.AsOf, DataUntil: s.lastDay(), Weeks: s.weeks(f.Total, f.Labor), Kinds: []OutlookKind{}, Warnings: s.said(f)}
	for k, name := range f.Kinds {
		var hours forecast.Paths
		if f.Hours != nil {
			hours = f.Hours[k]
		}
		weeks := s.weeks(f.DropOffs[k], hours)
		out.Kinds = append(out.Kinds, OutlookKind{name, weeks, s.moves(s.known.ByKind[k], weeks)})
	}
	out.Moves = s.moves(s.known.Total.Values, out.Weeks)
	out.Model.DropOffs = f.Model
	out.Model.Hours = "not known: no finished job has hours on record"
	if f.Labor.Values != nil {
		out.Model.Hours = "each drop-off takes the hours of a job of its kind, from " + s.source
	}
	return out
}

// lastDay gives the day of the last drop-off on record, nil without any.
func (s *shop) lastDay() *forecast.Date {
	if len(s.book.Jobs) == 0 {
		return nil
	}
	d := s.book.Jobs[len(s.book.Jobs)-1].DroppedOff
	return &d
}

func (s *shop) weeks(dropOffs, hours forecast.Paths) []OutlookWeek {
	out := make([]OutlookWeek, s.ask.Weeks)
	for j := range out {
		out[j] = OutlookWeek{dropOffs.Start + forecast.Date(j*forecast.Week), forecast.SpreadOf(dropOffs.Dist(j)), forecast.Unknown()}
		if hours.Values != nil {
			out[j].Hours = forecast.SpreadOf(hours.Dist(j))
		}
	}
	return out
}

// stale is how many days without a record are worth a word, and short how many
// weeks of records leave the season unknown.
const (
	stale = 10
	short = 104
)

// said gives the warnings of the records and of the forecast, each once. On a
// short history they come down to one: how short it is, and what that means.
func (s *shop) said(f workload.Futures) []string {
	out := append([]string{}, s.warnings...)
	doubts := f.Warnings
	if weeks := s.known.Total.Observed(); weeks < short {
		doubts = nil
		if b := s.known.Siblings; b != nil {
			out = append(out, fmt.Sprintf("There %s %s of records. What they can't tell yet of the season, of job kinds and of hours is taken from %s of the group with three years or more.", be(weeks), report.Count(float64(weeks), "week"), report.Count(float64(b.Shops), "shop")))
		} else {
			out = append(out, fmt.Sprintf("There %s %s of records: a season needs a year to be known at all and two to be trusted. Take the ranges as rough, and don't hire or build on them alone.", be(weeks), report.Count(float64(weeks), "week")))
		}
	}
	if last := s.lastDay(); last != nil && *last < s.ask.AsOf-stale {
		out = append(out, fmt.Sprintf("The newest record is of %s, %d days ago: import newer ones.", report.LongDay(*last), s.ask.AsOf-*last))
	}
	seen := map[string]bool{}
	for _, w := range doubts {
		if _, ok := w.(*workload.RecordsStop); ok {
			continue // said above
		}
		if text := Sentence(w); !seen[text] {
			seen[text] = true
			out = append(out, text)
		}
	}
	if f.Labor.Values == nil {
		out = append(out, "No job finished in the last years has hours on record, so that labor hours aren't known: import a newer file with clocked, billed or quoted hours.")
	}
	return out
}

// Sentence makes the text of a warning, or of an error, one for people.
func Sentence(err error) string {
	text := err.Error()
	for _, prefix := range []string{"forecast: ", "capacity: "} {
		text = strings.TrimPrefix(text, prefix)
	}
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + strings.TrimSuffix(text[size:], ".") + "."
}
