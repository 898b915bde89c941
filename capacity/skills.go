package capacity

import (
	"slices"
	"strings"
)

// Can tells whether the technician may work on a job kind. Names of kinds are
// compared without regard to case and spaces around them.
func (t Technician) Can(kind string) bool {
	return slices.ContainsFunc(t.Skills, func(s string) bool {
		s = strings.TrimSpace(s)
		return strings.EqualFold(s, "all") || strings.EqualFold(s, strings.TrimSpace(kind))
	})
}

// names lists the technicians that can do a kind.
func (c Crew) names(kind string) []string {
	var out []string
	for _, t := range c {
		if t.Can(kind) {
			out = append(out, t.Name)
		}
	}
	return out
}
