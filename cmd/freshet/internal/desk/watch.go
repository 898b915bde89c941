package desk

import (
	"cmp"
	"context"
	"math"
	"slices"

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

// The budget: at most one false alert a quarter, whatever the number of kinds.
// It is shared out to the rules as chances a look, measured on invented shops
// (TestWatchBudget). Kinds share theirs among themselves.
const (
	weekChance    = .01  // one week, either way
	runChance     = .012 // the least likely of the stretches of 2 to longestRun weeks
	kindChance    = .014 // all kinds together, stretches of 1 to longestKind weeks
	clusterChance = .05  // a year, all rare kinds together
	silentChance  = 1e-4 // open days without a drop-off
)

const (
	watched     = 26 // weeks that are judged
	refit       = 13 // weeks after which the whole is fitted again
	leastKnown  = 8  // weeks that must be known before the first one judged
	longestRun  = 6
	longestKind = 4
	stands      = 4 // weeks that an alert stands unless it is confirmed
	everything  = "all"
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
			found = slices.Concat(w.gaps, w.renamings(), w.weeks(), w.runs(), w.kinds(), w.clusters(), w.failures())
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
	if a, ok := seasonAlert(out.Season, soFar); ok {
		out.Alerts = append(out.Alerts, a)
	}
	out.Alerts = append(out.Alerts, w.standing(found)...)
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
		out = append(out, sentence(w))
	}
	return out
}

// finding is an odd stretch: the weeks from..until-1 of those watched.
type finding struct {
	rule        string
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

// weeks finds single weeks.
func (w *watcher) weeks() []finding { return w.stretches("week", 0, 1, 1, weekChance) }

// runs finds stretches of weeks that together are odd, each against the joint
// futures as they were known before it began.
func (w *watcher) runs() []finding { return w.stretches("run", 0, 2, longestRun, runChance) }

// kinds finds the same of job kinds.
func (w *watcher) kinds() []finding {
	var out []finding
	for k := 1; k < len(w.series); k++ {
		if w.renamed[w.series[k].kind] {
			continue
		}
		out = append(out, w.stretches("kind", k, 1, longestKind, kindChance/float64(len(w.series)-1))...)
	}
	return out
}

// stretches gives, for each last week, the least likely stretch that ends
// with it, if its chance is below what the budget allows.
func (w *watcher) stretches(rule string, series, shortest, longest int, allowed float64) []finding {
	var out []finding
	for until := 1; until <= w.n; until++ {
		best := finding{rule: rule, series: series, until: until, alert: Alert{Rule: rule, Kind: w.series[series].name, Chance: allowed}}
		for length := shortest; length <= min(longest, until); length++ {
			from := until - length
			d, sum, n := w.series[series].window(from, until)
			if n < length { // a gap
				continue
			}
			if chance, above := watch.Tail(d, sum); chance < best.alert.Chance {
				best.from, best.above = from, above
				best.alert.Chance, best.alert.Since, best.alert.Observed, best.alert.Expected = chance, w.monday(from), sum, math.Round(10*d.Mean())/10
			}
		}
		if best.alert.Chance < allowed {
			out = append(out, best)
		}
	}
	return out
}

// standing gives the alerts of the findings that stand: one for what was found
// within the last weeks of a series and direction, the latest. A run takes the
// weeks within it with it.
func (w *watcher) standing(found []finding) []Alert {
	type key struct {
		rule   string
		series int
		above  bool
	}
	last := map[key]finding{}
	began := map[key]int{}
	var order []key
	var out []Alert
	for _, f := range found {
		k := key{f.rule, f.series, f.above}
		if before, ok := last[k]; !ok || !f.carriesOn(before) {
			began[k] = f.from
		}
		last[k] = f // of weeks long past too: they tell when it began
		if f.until <= w.n-stands {
			continue
		}
		if f.series < 0 {
			f.alert.Began, f.alert.Until = f.alert.Since, w.monday(f.until)-1
			out = append(out, f.alert)
			continue
		}
		if !slices.Contains(order, k) {
			order = append(order, k)
		}
	}
	for _, k := range order {
		f := last[k]
		if run, ok := last[key{"run", 0, f.above}]; f.rule == "week" && ok && run.from <= f.from && f.until <= run.until {
			continue
		}
		f.alert.Began, f.alert.Until = w.monday(began[k]), w.monday(f.until)-1
		f.alert.Weekly = round(f.alert.Chance * w.looks(f))
		f.alert.Chance = round(f.alert.Chance)
		f.alert.Lead, f.alert.Summary = w.say(f)
		out = append(out, f.alert)
	}
	return out
}

// carriesOn says that a finding and one before it are of the same odd weeks: one
// usual week between them at most.
func (f finding) carriesOn(before finding) bool { return f.from <= before.until+1 }

// round keeps four figures of a chance.
func round(p float64) float64 {
	if p <= 0 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(p))-3)
	return math.Round(p/unit) * unit
}
