package desk

import (
	"fmt"

	"freshet/forecast"
	"freshet/report"
)

// follow has the forecast follow the newest weeks more closely where these are
// an odd run that goes on, and gives the words for it; neither where there is
// none, where it was said not to come again, or where weeks can't be judged,
// which the watch tells of.
func (s *shop) follow() string {
	w, err := s.watcher()
	if err != nil || w == nil {
		return ""
	}
	since, above := w.newLevel()
	run := Alert{Rule: "run", Kind: everything, Began: since, Observed: -1}
	if above {
		run.Observed = 1
	}
	for _, n := range s.notes {
		if n.OneTime && about(n, run) {
			since = 0
		}
	}
	if since == 0 {
		return ""
	}
	s.known.NewLevel = since
	word := "Fewer"
	if above {
		word = "More"
	}
	return fmt.Sprintf("%s came since %s than chance explains: the outlook follows the newest weeks more closely than usual, and less so the further it looks ahead.", word, report.Day(since))
}

// newLevel gives the first day of the odd runs that go on to the last complete
// week, as they were found one after another, and which way they are off; 0
// without any.
func (w *watcher) newLevel() (since forecast.Date, above bool) {
	began, last := map[bool]int{}, map[bool]finding{}
	for _, f := range w.runs() {
		if before, ok := last[f.above]; !ok || !f.carriesOn(before) {
			began[f.above] = f.from
		}
		last[f.above] = f
	}
	for side, f := range last {
		if f.until == w.n {
			return w.monday(began[side]), side
		}
	}
	return 0, false
}
