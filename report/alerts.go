package report

import (
	"fmt"
	"strings"

	"freshet/forecast"
)

// Alert is something that doesn't fit and stands on the report's day. Summary
// says what, how unlikely in words, what drives it, and what might be done.
type Alert struct {
	Rule    string        `json:"rule"` // week, run, kind, cluster, season or gap
	Kind    string        `json:"kind"` // "all", or a job kind
	Since   forecast.Date `json:"since"`
	Summary string        `json:"summary"`
}

// odd says the first of what doesn't fit for the headline, in its first two
// sentences.
// It is empty if everything fits.
func (r *Report) odd() string {
	if len(r.Alerts) == 0 {
		return ""
	}
	s := r.Alerts[0].Summary
	if i := strings.Index(s, ". "); i >= 0 {
		if j := strings.Index(s[i+2:], ". "); j >= 0 {
			s = s[:i+2+j+1]
		}
	}
	if n := len(r.Alerts) - 1; n > 0 {
		s += fmt.Sprintf(" %d more: see what doesn't fit.", n)
	}
	return s
}
