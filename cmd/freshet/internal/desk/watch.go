package desk

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/forecast/watch"
	"freshet/forecast/workload"
)

// Watch is what doesn't fit: weeks, runs of weeks, job kinds, the season, and
// the records themselves.
type Watch struct {
	Schema   int           `json:"schema"`
	AsOf     forecast.Date `json:"as_of"`
	Weeks    []WatchWeek   `json:"weeks"`
	Alerts   []Alert       `json:"alerts"`
	Season   WatchSeason   `json:"season"`
	Warnings []string      `json:"warnings"`
}

// WatchWeek is a complete week against what was known the Monday it began.
// Weeks that a gap in the records touches aren't complete, and not listed.
// Chance is that of a week at least that far out, on the side it lies on.
type WatchWeek struct {
	Week     forecast.Date   `json:"week"`
	DropOffs float64         `json:"drop_offs"`
	Expected forecast.Spread `json:"expected"`
	Chance   float64         `json:"chance"`
	Verdict  string          `json:"verdict"` // usual, busy or quiet
}

// Alert is something that stands on the day asked about. Chance is that of
// something at least that far out where it was found; Summary says how seldom
// that is once all places that were looked at are counted.
type Alert struct {
	ID       string        `json:"id"`
	Rule     string        `json:"rule"`              // week, run, kind, cluster, season or gap
	Kind     string        `json:"kind"`              // "all", or a job kind
	Began    forecast.Date `json:"began"`             // first day of all its odd weeks, as they were found one after another
	Failure  string        `json:"failure,omitempty"` // what the notes of a cluster's jobs name
	Since    forecast.Date `json:"since"`             // first day of the least likely of them
	Until    forecast.Date `json:"until"`             // last day
	Observed float64       `json:"observed"`
	Expected float64       `json:"expected"`
	Chance   float64       `json:"chance"`
	Weekly   float64       `json:"weekly_chance"` // that a week brings such an alert, all places looked at counted
	Lead     string        `json:"lead"`          // what and how odd: the first sentences of Summary
	Summary  string        `json:"summary"`
	Note     *Note         `json:"note"` // nil: nobody has said anything of it
}

// Chances that are worth a word, beside those of changes.
const (
	weekChance    = .01  // one week, either way
	clusterChance = .05  // a year, all rare kinds together
	silentChance  = 1e-4 // open days without a drop-off
)

const (
	watched    = 26 // weeks that are judged
	refit      = 13 // weeks after which the whole is fitted again
	leastKnown = 8  // weeks that must be known before the first one judged
	stands     = 4  // weeks that an alert stands unless it is confirmed
	everything = "all"
)

// Watch answers what doesn't fit.
func (d *Desk) Watch(ctx context.Context, ask Ask) (Watch, error) {
	s, err := d.load(ctx, ask)
	if err != nil {
		return Watch{}, err
	}
	if err := s.readDetails(ctx, d.Store); err != nil {
		return Watch{}, err
	}
	return s.watch()
}

func (s *shop) watch() (Watch, error) {
	if len(s.book.Jobs) == 0 {
		return Watch{}, workload.ErrNoRecords
	}
	out := Watch{Schema: 1, AsOf: s.ask.AsOf, Weeks: []WatchWeek{}, Alerts: []Alert{}, Season: noSeason(s.ask.AsOf), Warnings: s.recordWarnings()}
	w, err := s.watcher()
	if err != nil {
		return out, err
	}
	if w == nil {
		out.Warnings = append(out.Warnings, "Weeks can't be judged before nine of them are on record.")
		return out, nil
	}
	var found []finding
	var soFar *seasonSoFar
	err = together([]func() error{
		func() (err error) {
			out.Season, soFar, err = w.season()
			return err
		},
		func() error {
			found = slices.Concat(w.gaps, w.renamings(), w.whole(), w.kinds(), w.clusters(), w.failures())
			for t := range w.n {
				if week, ok := w.judge(t); ok {
					out.Weeks = append(out.Weeks, week)
				}
			}
			return nil
		},
	})
	if err != nil {
		return out, err
	}
	out.Alerts = append(out.Alerts, w.inSeason(w.standing(found), out.Season, soFar)...)
	slices.SortStableFunc(out.Alerts, byOdds)
	identify(out.Alerts, s.notes)
	slices.SortStableFunc(out.Alerts, func(a, b Alert) int { return a.Note.rank() - b.Note.rank() })
	return out, nil
}

// byOdds puts faults of the records first, as they may be behind the rest, then
// what is most unlikely.
func byOdds(a, b Alert) int {
	if gap := a.Rule == "gap"; gap != (b.Rule == "gap") {
		if gap {
			return -1
		}
		return 1
	}
	return cmp.Compare(a.Weekly, b.Weekly)
}

func (s *shop) recordWarnings() []string {
	out := append([]string{}, s.warnings...)
	for _, w := range s.known.Warning {
		out = append(out, Sentence(w))
	}
	return out
}

// finding is an odd stretch: the weeks from..until-1 of those watched.
type finding struct {
	series      int // of watcher.series; -1 where there is none
	from, until int
	above       bool
	alert       Alert // complete for gaps and clusters, else without words
}

// judge gives the verdict on week t, false where it wasn't observed.
func (w *watcher) judge(t int) (WatchWeek, bool) {
	d, sum, n := w.series[0].window(t, t+1)
	if n == 0 {
		return WatchWeek{}, false
	}
	chance, above := watch.Tail(d, sum)
	out := WatchWeek{Week: w.monday(t), DropOffs: sum, Expected: forecast.SpreadOf(d), Chance: round(chance), Verdict: "usual"}
	if chance < weekChance {
		out.Verdict = "quiet"
		if above {
			out.Verdict = "busy"
		}
	}
	return out, true
}

// standing gives the alerts of the findings that stand: one for what was found
// within the last weeks of a series and direction, the latest, and one of a
// cause: where all kinds rise together, none is told beside the whole.
func (w *watcher) standing(found []finding) []Alert {
	var out []Alert
	for _, f := range found {
		if f.series < 0 && w.stands(f) {
			f.alert.Began, f.alert.Until = f.alert.Since, w.monday(f.until)-1
			out = append(out, f.alert)
		}
	}
	streaks := w.streaks(found)
	with := make([]*streak, len(streaks)) // what is odd about the whole, by what it is told with
	for i := range streaks {
		if s := &streaks[i]; s.series == 0 {
			with[w.cause(s, streaks, i)] = s
		}
	}
	for i, s := range streaks {
		if with[i] == nil && (s.series == 0 || w.alike(s, streaks)) {
			continue
		}
		s.alert.Lead, s.alert.Summary = w.say(s.finding)
		if all := with[i]; s.series > 0 && all != nil {
			said := w.sayWhole(all.finding)
			s.alert.Summary = s.alert.Lead + said + strings.TrimPrefix(s.alert.Summary, s.alert.Lead)
			s.alert.Lead += said
			s.alert.Weekly = min(s.alert.Weekly, all.alert.Weekly)
		}
		s.alert.Began, s.alert.Until = w.monday(s.began), w.monday(s.until)-1
		s.alert.Weekly, s.alert.Chance = round(s.alert.Weekly), round(s.alert.Chance)
		out = append(out, s.alert)
	}
	return out
}

func (w *watcher) stands(f finding) bool { return f.until > w.n-stands }

// streak is the latest finding of a series and direction; began is the first of
// its odd weeks as they were found one after another, with one usual week
// between them at most.
type streak struct {
	finding
	began int
}

// streaks gives those that stand.
func (w *watcher) streaks(found []finding) []streak {
	var out []streak
	for _, f := range found {
		if f.series < 0 {
			continue
		}
		i := slices.IndexFunc(out, func(s streak) bool { return s.series == f.series && s.above == f.above })
		switch {
		case i < 0:
			out = append(out, streak{f, f.from})
		case f.from > out[i].until+1:
			out[i] = streak{f, f.from}
		default:
			out[i].finding = f
		}
	}
	return slices.DeleteFunc(out, func(s streak) bool { return !w.stands(s.finding) })
}

// cause gives the index of the streak of a kind but for which the whole would
// have been ordinary in the same weeks, the most telling one; otherwise, if there
// is none.
func (w *watcher) cause(all *streak, of []streak, otherwise int) int {
	usual, sum, _ := w.series[0].window(all.from, all.until)
	least := ordinary
	for i, s := range of {
		if s.series == 0 || s.above != all.above || s.began >= all.until || all.began >= s.until {
			continue
		}
		d, n, _ := w.series[s.series].window(all.from, all.until)
		rest := max(0, sum-(n-d.Mean()))
		if chance, above := watch.Tail(usual, math.Round(rest)); chance >= least || above != all.above {
			least, otherwise = max(least, chance), i
		}
	}
	return otherwise
}

// ordinary is the least chance of weeks, without what a kind brought more or less
// than expected, at which that kind is the cause.
const ordinary = .1

// alike tells whether a kind did no more than the others did in weeks in which
// the whole is odd, and told of: what it brought, taken back by as much as the
// others were above or below what was expected, would be nothing odd.
func (w *watcher) alike(s streak, of []streak) bool {
	return slices.ContainsFunc(of, func(all streak) bool {
		if all.series != 0 || all.above != s.above || s.began >= all.until || all.began >= s.until {
			return false
		}
		usual, sum, _ := w.series[0].window(s.from, s.until)
		d, n, _ := w.series[s.series].window(s.from, s.until)
		others := max(1, sum-n) / max(1, usual.Mean()-d.Mean())
		chance, above := watch.Tail(d, math.Round(n/others))
		return chance >= oddBeside || above != s.above
	})
}

// oddBeside is the chance below which a kind stands out from a whole that is odd.
const oddBeside = .01

// round keeps four figures of a chance.
func round(p float64) float64 {
	if p <= 0 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(p))-3)
	return math.Round(p/unit) * unit
}
