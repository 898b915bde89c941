package report

import (
	"fmt"
	"slices"

	"freshet/forecast"
)

// Alert is something that doesn't fit and stands on the report's day. Summary
// says what, how unlikely in words, what drives it, and what might be done.
type Alert struct {
	ID      string        `json:"id,omitempty"` // its name, the same as long as it stands
	Rule    string        `json:"rule"`         // week, run, kind, cluster, season or gap
	Kind    string        `json:"kind"`         // "all", or a job kind
	Since   forecast.Date `json:"since"`
	Lead    string        `json:"lead"` // what and how odd: the first sentences of Summary
	Summary string        `json:"summary"`
	Note    string        `json:"note"` // what someone said of it; empty: nothing
	Seen    bool          `json:"seen"` // and that is only that it was seen
}

// Says gives the alert as it is shown: in full, or once something was said of
// it what it is and that.
func (a Alert) Says() string {
	if a.Note == "" {
		return a.Summary
	}
	return a.Lead + " " + a.Note
}

// Told gives the alerts that a letter tells: not those that someone has seen.
func (r Report) Told() []Alert {
	return slices.DeleteFunc(slices.Clone(r.Alerts), func(a Alert) bool { return a.Seen })
}

// odd says the first of what doesn't fit and nobody has said anything of, for
// the headline. It is empty without any.
func (r *Report) odd() string {
	news := slices.DeleteFunc(slices.Clone(r.Alerts), func(a Alert) bool { return a.Note != "" })
	if len(news) == 0 {
		return ""
	}
	s := news[0].Lead
	if n := len(news) - 1; n > 0 {
		s += fmt.Sprintf(" %d more: see what doesn't fit.", n)
	}
	return s
}
