package desk

import (
	"slices"
	"strings"
)

// waits says whether a status means that nobody can work on the job now. What
// was waited for may have come: a part received, a repair approved.
func waits(status string) bool {
	s := strings.NewReplacer("work order", "", "repair order", "").Replace(strings.ToLower(status))
	switch {
	case holds(s, "ready"):
		return false
	case holds(s, "wait", "not ", "until", "to be"):
	case holds(s, "received", "arrived", "approved"):
		return false
	}
	return holds(s, "wait", "part", "order", "approv", "hold", "customer", "insur", "warrant")
}

// declined says whether a status means that the customer declined the work or
// put it off, so that it isn't in the shop's line.
func declined(status string) bool {
	return holds(strings.ToLower(status), "declin", "deferred", "postpon")
}

// holds tells whether one of some words stands in a text.
func holds(text string, words ...string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(text, w) })
}
