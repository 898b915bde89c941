package desk

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/store"
	"freshet/report"
)

// Note is what someone said of an alert. Because is empty where it was only
// seen.
type Note struct {
	Because string        `json:"because"`
	OneTime bool          `json:"one_time"` // From to Until are kept out of the season
	From    forecast.Date `json:"from"`
	Until   forecast.Date `json:"until"`
	On      forecast.Date `json:"on"`
	Who     string        `json:"who"`
}

// String puts the note into a sentence or two; nil is none.
func (n *Note) String() string {
	switch {
	case n == nil:
		return ""
	case n.Because == "":
		return fmt.Sprintf("Seen by the %s on %s.", n.Who, report.Day(n.On))
	}
	s := fmt.Sprintf("Explained by the %s on %s: %s.", n.Who, report.Day(n.On), strings.TrimRight(n.Because, "."))
	if n.OneTime {
		s += fmt.Sprintf(" The days from %s to %s won't bend next year's season.", report.Day(n.From), report.Day(n.Until))
	}
	return s
}

// rank puts what nobody knows of first, and what was seen last.
func (n *Note) rank() int {
	switch {
	case n == nil:
		return 0
	case n.Because != "":
		return 1
	}
	return 2
}

// Alert finds an alert by its name.
func (w Watch) Alert(id string) (Alert, error) {
	var names []string
	for _, a := range w.Alerts {
		if a.ID == id {
			return a, nil
		}
		names = append(names, a.ID)
	}
	if names == nil {
		return Alert{}, fmt.Errorf("need an alert that stands on %v, have %q; none stands", w.AsOf, id)
	}
	return Alert{}, fmt.Errorf("need an alert that stands on %v, have %q; there are %s", w.AsOf, id, strings.Join(names, ", "))
}

// Says gives the alert as it is shown, see [report.Alert.Says].
func (a Alert) Says() string { return a.told().Says() }

// told gives what a report tells of the alert.
func (a Alert) told() report.Alert {
	return report.Alert{ID: a.ID, Rule: a.Rule, Kind: a.Kind, Since: a.Since, Lead: a.Lead, Summary: a.Summary, Note: a.Note.String(), Seen: a.Note != nil && a.Note.Because == ""}
}

// Noted gives the note to keep that says n of the alert; the alert's own days
// stand where n has none.
func (a Alert) Noted(n Note, at time.Time) store.AlertNote {
	if n.From == 0 {
		n.From = a.Began
	}
	if n.Until == 0 {
		n.Until = max(a.Until, n.From)
	}
	return store.AlertNote{Alert: a.ID, Rule: a.Rule, Kind: a.Kind, Failure: a.Failure, Above: a.above(), Began: a.Began, Because: n.Because, OneTime: n.OneTime,
		From: n.From, Until: n.Until, On: n.On, Who: n.Who, At: at}
}

func (a Alert) above() bool { return a.Observed > a.Expected }

// identify gives each alert its name and what was said of it. An alert has one
// name as long as it stands: that of its rule, kind and first week, and once
// something was said of it the name by which it was called then, though more
// weeks may have moved its beginning.
func identify(alerts []Alert, notes []store.AlertNote) {
	taken := map[string]bool{}
	for i := range alerts {
		a := &alerts[i]
		a.ID = nameOf(*a)
		if n := said(notes, func(n store.AlertNote) bool { return about(n, *a) }); n != nil {
			a.ID, a.Note = n.Alert, noteOf(n)
		}
		for name, k := a.ID, 2; taken[a.ID]; k++ {
			a.ID = fmt.Sprintf("%s-%d", name, k)
		}
		taken[a.ID] = true
	}
}

// said gives what holds of those notes that are meant: the newest explanation,
// or else the newest word that it was seen; nil if nothing was said.
func said(notes []store.AlertNote, meant func(store.AlertNote) bool) *store.AlertNote {
	var out *store.AlertNote
	for i, n := range slices.Backward(notes) {
		if meant(n) && (out == nil || out.Because == "" && n.Because != "") {
			out = &notes[i]
		}
	}
	return out
}

func noteOf(n *store.AlertNote) *Note {
	if n == nil {
		return nil
	}
	return &Note{n.Because, n.OneTime, n.From, n.Until, n.On, n.Who}
}

// nameOf makes a name of letters, digits and hyphens, to be typed.
func nameOf(a Alert) string {
	parts := []string{a.Rule}
	if a.Kind != everything {
		parts = append(parts, strings.FieldsFunc(strings.ToLower(a.Kind), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })...)
	}
	parts = append(parts, strings.Fields(a.Failure)...)
	return strings.Join(append(parts, a.Began.Monday().String()), "-")
}

// about tells whether a note is on the stretch of weeks that an alert is on: of
// the same direction, and beginning near it or within the days that it names.
func about(n store.AlertNote, a Alert) bool {
	rule := func(name string) string { // an odd week that goes on is a run
		if name == "week" {
			return "run"
		}
		return name
	}
	return rule(n.Rule) == rule(a.Rule) && n.Kind == a.Kind && n.Failure == a.Failure && n.Above == a.above() &&
		n.Began-sameFrom <= a.Began && a.Began <= max(n.Began+sameFrom, n.Until)
}

// noted tells whether someone has said something of an alert.
func (s *shop) noted(a Alert) bool {
	return slices.ContainsFunc(s.notes, func(n store.AlertNote) bool { return about(n, a) })
}

// onceOnly gives the events that one-time notes stand for.
func onceOnly(notes []store.AlertNote) []workload.Event {
	var out []workload.Event
	for _, n := range notes {
		if n.OneTime {
			out = append(out, workload.Event{Name: n.Because, From: n.From, Until: n.Until, Effect: workload.OneTime, Said: n.On})
		}
	}
	return out
}
