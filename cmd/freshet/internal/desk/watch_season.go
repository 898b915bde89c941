package desk

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/watch"
	"freshet/forecast/workload"
	"freshet/report"
)

// WatchSeason is how this season goes: late by so many days (early: below 0),
// and how strong against what the shop's past led to expect. Spreads are null
// where fewer than two years are on record.
type WatchSeason struct {
	Year       int             `json:"year"`
	ShiftDays  forecast.Spread `json:"shift_days"`
	LevelRatio forecast.Spread `json:"level_ratio"`
	Verdict    string          `json:"verdict"`
	Late       *float64        `json:"chance_late"` // by a week or more
	Early      *float64        `json:"chance_early"`
	Low        *float64        `json:"chance_low"` // by a tenth or more
	High       *float64        `json:"chance_high"`
}

// tooEarly is the verdict while level and timing can't be told apart.
const tooEarly = "too early to tell"

// String puts the season's state into a sentence.
func (s WatchSeason) String() string {
	if !s.ShiftDays.Known() {
		return fmt.Sprintf("The %d season: %s. A usual season needs two years of records.", s.Year, s.Verdict)
	}
	shift := func(v float64) string {
		switch {
		case v >= .5:
			return report.Count(v, "day") + " late"
		case v <= -.5:
			return report.Count(-v, "day") + " early"
		}
		return "on time"
	}
	verdict := s.Verdict
	if word, ok := map[string]string{"low": "weak", "high": "strong"}[verdict]; ok {
		verdict = word
	}
	said := fmt.Sprintf("The %d season: %s. It runs %s (8 chances in 10: %s to %s), at %.0f %% of its usual strength (%.0f to %.0f %%).", s.Year, verdict,
		shift(s.ShiftDays.P50), shift(s.ShiftDays.P10), shift(s.ShiftDays.P90), 100*s.LevelRatio.P50, 100*s.LevelRatio.P10, 100*s.LevelRatio.P90)
	var chances []string
	for _, c := range []struct {
		p    *float64
		that string
	}{{s.Late, "late by a week or more"}, {s.Early, "early by a week or more"}, {s.Low, "weak by a tenth or more"}, {s.High, "strong by a tenth or more"}} {
		if *c.p >= worthSaying {
			chances = append(chances, c.that+": "+percent(*c.p))
		}
	}
	if chances == nil {
		return said
	}
	return said + " Chance that it is " + strings.Join(chances, ", ") + "."
}

// worthSaying is the least chance of a season's being off that is said.
const worthSaying = .05

func noSeason(asOf forecast.Date) WatchSeason {
	return WatchSeason{Year: asOf.Year(), ShiftDays: forecast.Unknown(), LevelRatio: forecast.Unknown(), Verdict: tooEarly}
}

// How seasons differ from year to year, until a shop's own tell: from memory.
const (
	seasonLevelSD = .4
	seasonShiftSD = 1.15 // weeks
)

// usualSeason is a year as it usually goes, by what was known when it began.
type usualSeason struct {
	start, peak forecast.Date
	means       []float64 // drop-offs by week
	model       watch.Season
	rise        float64 // all that the season adds to the base
}

// seasonSoFar is a season up to the day asked about.
type seasonSoFar struct {
	watch.Timing
	usualSeason
	until       forecast.Date
	seen, usual float64
	share       float64 // of the usual season that lies behind
}

var inf = math.Inf(1)

// season judges the season that the day asked about lies in, against what was
// known when it began. There is none where fewer than two years are on record.
func (w *watcher) season() (WatchSeason, *seasonSoFar, error) {
	total := w.shop.known.Total
	start, ok := seasonStart(total.Like(w.shop.known.Lasting(total.Values)))
	if !ok {
		return noSeason(w.shop.ask.AsOf), nil, nil
	}
	usual, err := w.shop.usualSeason(start)
	if err != nil {
		return noSeason(w.shop.ask.AsOf), nil, err
	}
	season, so := w.soFar(usual)
	return season, so, nil
}

// usualSeason gives the year from start on as it was to be expected on that day.
func (s *shop) usualSeason(start forecast.Date) (usualSeason, error) {
	past := s.book.Known(start)
	fit, err := workload.Counts(past).Fit(past.Total.Like(past.Lasting(past.Total.Values)))
	if err != nil {
		return usualSeason{}, err
	}
	f := fit.(*counts.Fit)
	u := usualSeason{start: start, means: f.Forecast(53).Means()}
	var c course
	u.model, c = seasonModel(u.means, f, float64(past.Total.Observed())/forecast.WeeksAYear)
	u.peak, u.rise = start+forecast.Date(c.peak*forecast.Week), c.rise
	return u, nil
}

// soFar holds what came of a season against the usual one.
func (w *watcher) soFar(u usualSeason) (WatchSeason, *seasonSoFar) {
	total := w.shop.known.Total
	first := int(u.start-total.Start) / forecast.Week
	came := slices.Clone(total.Values[first:])
	so := &seasonSoFar{usualSeason: u, until: total.End()}
	for i := range came {
		monday := total.At(first + i)
		if t := first + i - w.first; t >= 0 && t < len(w.gap) && w.gap[t] || w.shop.openShare(monday) < .7 {
			came[i] = math.NaN()
		}
		if !math.IsNaN(came[i]) {
			so.seen += came[i]
			so.usual += u.means[i]
		}
		so.share += max(0, u.means[i]-u.model.Base) / u.rise
	}
	so.Timing = u.model.Posterior(came)
	shift := so.Shift()
	late, early := so.Within(-inf, inf, 1, inf), so.Within(-inf, inf, -inf, -1)
	low, high := so.Within(-inf, .9, -inf, inf), so.Within(1.1, inf, -inf, inf)
	return WatchSeason{Year: so.peak.Year(),
		ShiftDays:  forecast.Spread{Mean: 7 * shift.Mean(), P10: 7 * shift.Quantile(.1), P50: 7 * shift.Quantile(.5), P80: 7 * shift.Quantile(.8), P90: 7 * shift.Quantile(.9)},
		LevelRatio: forecast.SpreadOf(so.Level()),
		Verdict:    verdict(late, early, low, high, so.share),
		Late:       forecast.Number(late), Early: forecast.Number(early), Low: forecast.Number(low), High: forecast.Number(high)}, so
}

// verdict says what four chances in five stand for; once most of the season lies
// behind what is likelier than not, or that all is as usual.
func verdict(late, early, low, high, share float64) string {
	most := max(late, early, low, high)
	switch {
	case most < .8 && share < .7:
		return tooEarly
	case most < .5:
		return "on time"
	case most == late:
		return "late"
	case most == early:
		return "early"
	case most == low:
		return "low"
	}
	return "high"
}

// seasonStart gives the Monday within the last year on which the shop's usual
// year is lowest, nine weeks taken together, wherever that lies.
func seasonStart(total forecast.Series) (forecast.Date, bool) {
	usual := usualOf(total)
	if usual(total.Start) == nil {
		return 0, false
	}
	const width = 4
	best, start := inf, forecast.Date(0)
	for i := total.Len() - total.Lag(); i < total.Len(); i++ {
		sum := 0.0
		for d := -width; d <= width; d++ {
			if v := usual(total.At(i + d)); v != nil {
				sum += *v
			}
		}
		if sum < best {
			best, start = sum, total.At(i)
		}
	}
	return start, true
}

// course is what a season is expected to do: the week of its peak, counted
// from 0, and all that it adds to the base.
type course struct{ peak, rise float64 }

// seasonModel makes the expected year into base and rise. The base is the
// lowest tenth of its weeks; the year before and after is taken to be the same.
// The more years taught it, the better its date is known.
func seasonModel(means []float64, f *counts.Fit, years float64) (watch.Season, course) {
	m := watch.Season{Base: max(.1, forecast.NewEmpirical(slices.Clone(means)).Quantile(.1)), LevelSD: seasonLevelSD, ShiftSD: seasonShiftSD, DateSD: seasonShiftSD / math.Sqrt(max(1, years))}
	var c course
	mean := 0.0
	for i, v := range means {
		mean += v / float64(len(means))
		c.rise += max(0, v-m.Base)
		if v > means[int(c.peak)] {
			c.peak = float64(i)
		}
	}
	c.rise = max(c.rise, 1e-9)
	m.Rise = func(week float64) float64 {
		x := math.Mod(week-1, forecast.WeeksAYear)
		if x < 0 {
			x += forecast.WeeksAYear
		}
		i := int(x)
		next := means[0]
		if i+1 < len(means) {
			next = means[i+1]
		}
		return max(0, means[i]+(x-float64(i))*(next-means[i])-m.Base)
	}
	// A level that wanders makes neighbouring weeks alike, so that they tell
	// less than as many independent ones would.
	p := f.Parameters()
	m.Dispersion = 1 + mean/f.Size() + wander*mean*p["sigma"]*p["sigma"]
	return m, c
}

// wander weighs the variance of the wandering level: measured on invented
// shops, so that ranges hold.
const wander = 1.5

// openShare is the share of Monday to Friday that the shop is open.
func (s *shop) openShare(monday forecast.Date) float64 {
	sum := 0.0
	for d := monday; d < monday+5; d++ {
		sum += s.calendar.OpenShare(d)
	}
	return sum / 5
}

// Limits of a season worth an alert: off by two weeks or by a quarter, with four
// chances in five that it is one or the other.
const (
	oddShift  = 2
	oddLevel  = .25
	oddChance = .8
	oddTold   = .9  // chance from which on one of the two is named alone
	oddUntil  = .95 // share of the season after which it is history
)

// seasonAlert says that a season is late or low, or early or high, without
// claiming to know which.
func seasonAlert(season WatchSeason, so *seasonSoFar) (Alert, bool) {
	if so == nil || so.share > oddUntil {
		return Alert{}, false
	}
	lateOrLow := 1 - so.Within(1-oddLevel, inf, -inf, oddShift)
	earlyOrHigh := 1 - so.Within(-inf, 1+oddLevel, -oddShift, inf)
	sure := max(lateOrLow, earlyOrHigh)
	if sure < oddChance {
		return Alert{}, false
	}
	words := wayOff(earlyOrHigh > lateOrLow)
	p, q, both := *season.Late, *season.Low, so.Within(-inf, .9, 1, inf)
	if earlyOrHigh > lateOrLow {
		p, q, both = *season.Early, *season.High, so.Within(1.1, inf, -inf, -1)
	}
	way, either, where := named(words, p, q, so.until > so.peak), "that", "behind"
	if way == words[0] {
		either = "either"
	}
	if earlyOrHigh > lateOrLow {
		where = "ahead of"
	}
	lead := fmt.Sprintf("The season is %s: since %s, %s came where %s were usual.", way, report.Day(so.start), report.Count(so.seen, "drop-off"), report.Whole(so.usual))
	if way == words[1] && season.ShiftDays.Known() { // as many come by its end: of a shift in time the count tells little
		lead = fmt.Sprintf("The season is %s: it runs about %s %s its usual course.", way, report.Count(math.Abs(season.ShiftDays.Mean), "day"), where)
	}
	text := lead + fmt.Sprintf(" %s by a week or more: %s; %s by a tenth or more: %s; both: %s.", upper(words[1]), percent(p), words[2], percent(q), percent(both))
	if so.until <= so.peak {
		text += fmt.Sprintf(" Which of the two can't be told well before the usual peak, in the week of %s.", report.Day(so.peak))
	}
	text += fmt.Sprintf(" The page Crew, or freshet crew, shows what %s would mean.", either)
	return Alert{Rule: "season", Kind: everything, Began: so.start, Since: so.start, Until: so.until - 1, Observed: so.seen, Expected: math.Round(10*so.usual) / 10, Chance: round(1 - sure),
		Weekly: round((1 - sure) / forecast.WeeksAYear), Lead: lead, Summary: text}, true
}

// named says of the two ways in which a season may be off the one that is all but
// sure, with the other all but excluded; else both, and always before its peak,
// when they can't be told apart. p and q are their chances.
func named(words [3]string, p, q float64, pastPeak bool) string {
	switch {
	case pastPeak && p >= oddTold && q < 1-oddTold:
		return words[1]
	case pastPeak && q >= oddTold && p < 1-oddTold:
		return words[2]
	}
	return words[0]
}

// inSeason adds what the season is to what stands. Weeks in which all drop-offs
// were odd its way are one cause with it, and told together; while the season
// rises they may become one. Weeks of which someone has said something are left
// as they are: a season is news.
func (w *watcher) inSeason(alerts []Alert, season WatchSeason, so *seasonSoFar) []Alert {
	if so == nil {
		return alerts
	}
	whole, odd := seasonAlert(season, so)
	for i := range alerts {
		a := &alerts[i]
		switch {
		case a.Kind != everything || a.Rule != "week" && a.Rule != "run" || a.Until <= so.start || w.shop.noted(*a):
		case odd && a.above() == whole.above():
			rest := strings.TrimPrefix(a.Summary, a.Lead)
			a.Lead += " " + whole.Lead
			a.Summary = a.Lead + rest + strings.TrimPrefix(whole.Summary, whole.Lead)
			a.Weekly = min(a.Weekly, whole.Weekly)
			return alerts
		case !odd && a.Until == so.until-1 && a.Until < so.peak && so.rises(a.Until):
			a.Summary += fmt.Sprintf(" The season may be %s: which of the two can't be told well before its usual peak, in the week of %s.", wayOff(a.above())[0], report.Day(so.peak))
		}
	}
	if odd {
		alerts = append([]Alert{whole}, alerts...)
	}
	return alerts
}

// rises tells whether a tenth of the way from the base to the peak is usually
// done by a day before the peak.
func (u usualSeason) rises(d forecast.Date) bool {
	at := func(d forecast.Date) float64 { return u.means[int(d-u.start)/forecast.Week] - u.model.Base }
	return at(d) > .1*at(u.peak)
}

// wayOff names the ways in which a season may be off: either, in time, in
// strength.
func wayOff(above bool) [3]string {
	if above {
		return [3]string{"early or strong", "early", "strong"}
	}
	return [3]string{"late or weak", "late", "weak"}
}

// percent writes a chance, and none as certain.
func percent(p float64) string {
	switch {
	case p > .99:
		return "over 99 %"
	case p < .01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
