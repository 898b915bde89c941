package report

import (
	"fmt"

	"freshet/forecast"
)

// Alert is something that doesn't fit and stands on the report's day. Summary
// says what, how unlikely in words, what drives it, and what might be done.
type Alert struct {
	Rule    string        `json:"rule"` // week, run, kind, cluster, season or gap
	Kind    string        `json:"kind"` // "all", or a job kind
	Since   forecast.Date `json:"since"`
	Lead    string        `json:"lead"` // what and how odd: the first sentences of Summary
	Summary string        `json:"summary"`
}

// odd says the first of what doesn't fit for the headline. It is empty if
// everything fits.
func (r *Report) odd() string {
	if len(r.Alerts) == 0 {
		return ""
	}
	s := r.Alerts[0].Lead
	if n := len(r.Alerts) - 1; n > 0 {
		s += fmt.Sprintf(" %d more: see what doesn't fit.", n)
	}
	return s
}
