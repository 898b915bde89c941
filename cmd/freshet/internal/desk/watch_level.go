package desk

import (
	"fmt"
	"slices"

	"freshet/report"
)

// follow has the forecast follow the newest weeks more closely where these are
// an odd run that goes on, and gives the words for it; neither where there is
// none, where it or the kind that causes it was said not to come again, or where
// weeks can't be judged, which the watch tells of.
func (s *shop) follow() string {
	w, err := s.watcher()
	if err != nil || w == nil {
		return ""
	}
	streaks := w.streaks(slices.Concat(w.whole(), w.kinds()))
	i := slices.IndexFunc(streaks, func(s streak) bool { return s.series == 0 && s.until == w.n && s.alert.Rule == "run" })
	if i < 0 {
		return ""
	}
	run := streaks[i]
	for _, told := range []streak{run, streaks[w.cause(&run, streaks, i)]} {
		told.alert.Began = w.monday(told.began)
		for _, n := range s.notes {
			if n.OneTime && about(n, told.alert) {
				return ""
			}
		}
	}
	since, word := w.monday(run.began), "Fewer"
	if run.above {
		word = "More"
	}
	s.known.NewLevel = since
	return fmt.Sprintf("%s came since %s than chance explains: the outlook follows the newest weeks more closely than usual, and less so the further it looks ahead.", word, report.Day(since))
}
