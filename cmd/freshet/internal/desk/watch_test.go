package desk

import (
	"database/sql"
	"flag"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/demo"
	"freshet/ingest/store"
)

// To measure over more shops than the tests do:
//
//	go test ./cmd/freshet/internal/desk -run Watch -v -timeout 1h -shops 100
var (
	shops = flag.Int("shops", 3, "number of invented shops that are watched")
	from  = flag.Int("shops-from", 101, "the first one's seed: 1 to 60 are for tuning")
	size  = flag.Float64("size", 1, "how many times their twenty drop-offs a week come")
)

// sized is an invented shop of the size that was asked for.
func sized(seed int, asOf forecast.Date, planted ...demo.Planted) (*shop, demo.Shop) {
	all := demo.Planted{From: 0, Until: asOf, Times: *size}
	return invented(seed, 6, asOf, append(planted, all)...)
}

// invented is an invented shop as it stands on a day, without odd years but for
// what is planted.
func invented(seed int, years int, asOf forecast.Date, planted ...demo.Planted) (*shop, demo.Shop) {
	made := demo.Generate(demo.Spec{Seed: uint64(seed), From: forecast.NewDate(asOf.Year()-years, 1, 1), Until: asOf, Planted: planted})
	s := &shop{ask: Ask{AsOf: asOf, Weeks: 13, Seed: Seed(asOf)}, calendar: capacity.DefaultCalendar()}
	s.calendar.Days = map[forecast.Date]float64{}
	for _, a := range made.Off {
		for d := a.From; a.Name == "shop" && d <= a.Until; d++ {
			s.calendar.Days[d] = 0
		}
	}
	s.book = &workload.Book{Open: s.calendar.OpenShare}
	index := map[string]int{}
	for i, k := range demo.Truths() {
		s.book.Kinds = append(s.book.Kinds, k.Kind)
		index[k.Kind] = i
	}
	for _, l := range made.Lines {
		j := workload.Job{Kind: index[l.Kind], DroppedOff: l.DroppedOff, Ready: l.Ready, Hours: math.NaN()}
		if l.Ready != 0 {
			j.Hours = l.Clocked
		}
		s.book.Jobs = append(s.book.Jobs, j)
		if l.DroppedOff >= asOf-(detailYears+2)*365 {
			s.details = append(s.details, store.Job{RO: strconv.Itoa(l.RO), Kind: l.Kind, Unit: l.Unit, Note: l.Note, DroppedOff: l.DroppedOff,
				PartsWait: sql.Null[float64]{V: float64(l.PartsWait), Valid: l.PartsWait >= 0}, Emergency: l.Emergency})
		}
	}
	s.known = s.book.Known(asOf)
	return s, made
}

// on gives the same shop as it stood on an earlier day.
func (s *shop) on(asOf forecast.Date) *shop {
	then := *s
	then.ask.AsOf = asOf
	then.known, then.odd = s.book.Known(asOf), nil
	then.details = slices.DeleteFunc(slices.Clone(s.details), func(j store.Job) bool { return j.DroppedOff >= asOf || j.DroppedOff < asOf-detailYears*365 })
	return &then
}

func watchOf(t testing.TB, s *shop) Watch {
	t.Helper()
	w, err := s.watch()
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// usualYears gives a shop's season on any day, each year's usual one worked out
// once.
type usualYears map[forecast.Date]usualSeason

func (u usualYears) of(t *testing.T, s *shop) (WatchSeason, *seasonSoFar) {
	t.Helper()
	start, ok := seasonStart(s.known.Total)
	if !ok {
		t.Fatal("no season")
	}
	if _, ok := u[start]; !ok {
		var err error
		if u[start], err = s.usualSeason(start); err != nil {
			t.Fatal(err)
		}
	}
	return (&watcher{shop: s}).soFar(u[start])
}

// tally counts the alerts that an owner who looks each Monday is told of. One
// that comes back within four weeks is the same, and so is one of a kind and
// one of the whole if they are of the same weeks and the one takes the other's
// place on the list, and a season's that goes on where weeks of its were odd.
type tally struct {
	told   []Alert
	raised map[string]int
}

func (c *tally) monday(list []Alert) {
	on := func(kind string, above bool) bool {
		return slices.ContainsFunc(list, func(a Alert) bool { return a.Kind == kind && a.above() == above })
	}
	for _, a := range list {
		i := slices.IndexFunc(c.told, func(b Alert) bool {
			switch {
			case a.above() != b.above() || a.Failure != b.Failure:
				return false
			case a.Rule == "season":
				return b.Rule == "season" && b.Began == a.Began || b.Kind == everything && b.Until+stands*forecast.Week >= a.Until
			case a.Kind == b.Kind:
				return a.Began <= b.Until+stands*forecast.Week
			}
			return (a.Kind == everything) != (b.Kind == everything) && a.Began <= b.Until && b.Began <= a.Until && !on(b.Kind, b.above())
		})
		if i >= 0 {
			c.told[i] = a
			continue
		}
		c.told = append(c.told, a)
		what := a.Rule
		switch {
		case a.Failure != "":
			what = "failure"
		case a.Rule == "week" || a.Rule == "run":
			what = "whole"
		}
		if a.above() {
			what += " above"
		}
		c.raised[what]++
	}
}

// Alerts of quiet shops, over two years of Mondays.
func TestWatchBudget(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	years, raised := 0.0, map[string]int{}
	for seed := *from; seed < *from+*shops; seed++ {
		whole, _ := sized(1000+seed, forecast.NewDate(2026, 11, 23))
		c, usual := tally{raised: raised}, usualYears{}
		for half := 3; half >= 0; half-- {
			s := whole.on(whole.ask.AsOf - forecast.Date(half*watched*forecast.Week))
			w, err := s.newWatcher()
			if err != nil {
				t.Fatal(err)
			}
			found := slices.Concat(w.gaps, w.renamings(), w.whole(), w.kinds(), w.clusters(), w.failures())
			then := *w
			for then.n = 1; then.n <= w.n; then.n++ {
				stand := then.standing(slices.DeleteFunc(slices.Clone(found), func(f finding) bool { return f.until > then.n }))
				season, so := usual.of(t, s.on(w.monday(then.n)))
				c.monday(w.inSeason(stand, season, so))
			}
			years += float64(w.n) / forecast.WeeksAYear
		}
	}
	all := 0.0
	for rule, n := range raised {
		t.Logf("%s: %.2f a year", rule, float64(n)/years)
		all += float64(n) / years
	}
	t.Logf("in all %.2f alerts a year over %.0f years of quiet shops", all, years)
	if all > 4+6/math.Sqrt(years) { // three standard errors of a Poisson count
		t.Errorf("want at most 4 alerts a year, have %.2f over %.0f years", all, years)
	}
}

// firstFound gives how many weeks after a day a finding that satisfies is was
// first made, 99 if it never was; false where one stood already that day, which
// tells nothing.
func firstFound(t *testing.T, s *shop, from forecast.Date, is func(finding) bool) (int, bool) {
	t.Helper()
	w, err := s.newWatcher()
	if err != nil {
		t.Fatal(err)
	}
	first := 99
	for _, f := range slices.Concat(w.whole(), w.kinds()) {
		if !is(f) {
			continue
		}
		switch after := int(w.monday(f.until)-from) / forecast.Week; {
		case after > 0:
			first = min(first, after)
		case after > -stands:
			return 0, false
		}
	}
	return first, true
}

// found counts shops by the weeks that it took.
type found []int

func (f *found) add(weeks int, ok bool) {
	if ok {
		*f = append(*f, weeks)
	}
}

func (f found) within(weeks int) float64 {
	n := 0
	for _, v := range f {
		if v <= weeks {
			n++
		}
	}
	return float64(n) / float64(len(f))
}

// Bursts and new levels planted in invented shops are found. The limits are
// three standard errors below what 34 to 70 shops gave.
func TestWatchFinds(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	var burst, small, any, rise, fall found
	kinds := demo.Truths()
	for seed := *from; seed < *from+*shops; seed++ {
		// Cooling at its height, and a kind of two or three a week.
		at := forecast.NewDate(2026, 6, 22) + forecast.Date(seed%4*forecast.Week)
		for _, c := range []struct {
			kind string
			to   *found
		}{{"cooling", &burst}, {"electrical", &small}, {kinds[seed%len(kinds)].Kind, &any}} {
			kind, to := c.kind, c.to
			s, _ := sized(seed, at+35, demo.Planted{Kind: kind, From: at, Until: at + 20, Times: 2.5})
			to.add(firstFound(t, s, at, func(f finding) bool {
				return f.above && (f.alert.Kind == kind || f.alert.Kind == everything)
			}))
		}
		at = forecast.NewDate(2026, 2, 2) + forecast.Date(seed%20*2*forecast.Week)
		for by, to := range map[float64]*found{4. / 3: &rise, 2. / 3: &fall} {
			s, _ := sized(seed, at+56, demo.Planted{From: at, Until: at + 400, Times: by})
			to.add(firstFound(t, s, at, func(f finding) bool { return f.above == (by > 1) }))
		}
	}
	for _, c := range []struct {
		name  string
		found found
		weeks int
		least float64
	}{{"a burst in cooling", burst, 4, .97}, {"a burst in electrical", small, 4, .76}, {"a burst in any kind", any, 4, .74}, {"a level up by a third", rise, 5, .89}, {"a level down by a third", fall, 8, .57}} {
		t.Logf("%s, %d shops: %.0f, %.0f, %.0f, %.0f, %.0f, %.0f, %.0f %% within 1 to 6 and 8 weeks", c.name, len(c.found), 100*c.found.within(1), 100*c.found.within(2), 100*c.found.within(3), 100*c.found.within(4), 100*c.found.within(5), 100*c.found.within(6), 100*c.found.within(8))
		if have := c.found.within(c.weeks); have < c.least-3*math.Sqrt(c.least*(1-c.least)/float64(len(c.found))) {
			t.Errorf("%s: want %.0f %% found within %d weeks, have %.0f %%", c.name, 100*c.least, c.weeks, 100*have)
		}
	}
}

// A spring at half strength is called late or weak before its usual peak, and
// at the end of a usual season its timing is known to a week.
func TestWatchSeason(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	called, n, inside, insideLevel := 0, 0.0, 0.0, 0.0
	sq := 0.0
	for seed := *from; seed < *from+*shops; seed++ {
		weak, _ := invented(seed, 6, forecast.NewDate(2026, 7, 6), demo.Planted{From: forecast.NewDate(2026, 3, 1), Until: forecast.NewDate(2026, 6, 30), Times: .5})
		usual := usualYears{}
		_, so := usual.of(t, weak)
		w, err := weak.on(so.peak).newWatcher()
		if err != nil {
			t.Fatal(err)
		}
		found := w.whole()
		for then := *w; then.n > 0 && then.monday(then.n) > forecast.NewDate(2026, 3, 1); then.n-- {
			season, so := usual.of(t, weak.on(w.monday(then.n)))
			stand := then.inSeason(then.standing(slices.DeleteFunc(slices.Clone(found), func(f finding) bool { return f.until > then.n })), season, so)
			if slices.ContainsFunc(stand, func(a Alert) bool { return strings.Contains(a.Summary, "late or weak") }) {
				called++
				break
			}
		}
		s, made := invented(seed, 6, forecast.NewDate(2026, 11, 23))
		for _, year := range made.Seasons[4:] {
			w := watcher{shop: s.on(forecast.NewDate(year.Year, 11, 23))}
			season, so, err := w.season()
			if err != nil {
				t.Fatal(err)
			}
			if so == nil || season.Year != year.Year {
				continue
			}
			n++
			late := season.ShiftDays.Mean - year.Late
			sq += late * late
			if season.ShiftDays.P10 <= year.Late && year.Late <= season.ShiftDays.P90 {
				inside++
			}
			if season.LevelRatio.P10 <= year.Level && year.Level <= season.LevelRatio.P90 {
				insideLevel++
			}
		}
	}
	t.Logf("a spring at half strength was called before its usual peak in %d of %d", called, *shops)
	t.Logf("at the end of %.0f seasons the timing's root mean square error was %.1f days; 80 %% ranges held %.0f %% of the time, the level's %.0f %%", n, math.Sqrt(sq/n), 100*inside/n, 100*insideLevel/n)
	if float64(called) < float64(*shops)*.8-3*math.Sqrt(.16*float64(*shops)) {
		t.Errorf("want 80 %% of weak springs called, have %d of %d", called, *shops)
	}
	if rms := math.Sqrt(sq / n); rms > 9 {
		t.Errorf("want the timing to 9 days, have %.1f", rms)
	}
}

// A season's sentence has the chance of each way in which it may be off, none of
// them certain.
func TestWatchSeasonSays(t *testing.T) {
	s := WatchSeason{Year: 2026, ShiftDays: forecast.Spread{P10: -2, P50: 5, P90: 12}, LevelRatio: forecast.Spread{P10: .5, P50: .66, P90: .8}, Verdict: "low",
		Late: forecast.Number(.16), Early: forecast.Number(.01), Low: forecast.Number(.998), High: forecast.Number(0)}
	want := "The 2026 season: weak. It runs 5 days late (8 chances in 10: 2 days early to 12 days late), at 66 % of its usual strength (50 to 80 %). Chance that it is late by a week or more: 16 %, weak by a tenth or more: over 99 %."
	if have := s.String(); have != want {
		t.Errorf("have %s", have)
	}
	s.Late, s.Low = s.Early, s.High
	if have := s.String(); strings.Contains(have, "Chance that") {
		t.Errorf("have %s", have)
	}
}

// A season's delay is named alone once it is sure, and its weakness is excluded;
// before the peak never.
func TestNamed(t *testing.T) {
	for _, c := range []struct {
		p, q float64
		past bool
		want string
	}{{.99, .01, true, "late"}, {.99, .01, false, "late or weak"}, {.99, .3, true, "late or weak"}, {.5, .05, true, "late or weak"}, {.05, .95, true, "weak"}} {
		if have := named(wayOff(false), c.p, c.q, c.past); have != c.want {
			t.Errorf("%+v: have %q", c, have)
		}
	}
}

// What is odd about the whole and its season is one cause and told together;
// while it rises weeks that are odd may become one.
func TestWatchInSeason(t *testing.T) {
	at := forecast.NewDate(2026, 3, 1)
	s, _ := invented(5, 6, forecast.NewDate(2026, 4, 6), demo.Planted{From: at, Until: at + 120, Times: .4})
	weak := func(s *shop) (of []Alert) {
		for _, a := range watchOf(t, s).Alerts {
			if a.Kind == everything && !a.above() {
				of = append(of, a)
			}
		}
		return of
	}
	got := weak(s)
	if len(got) != 1 || got[0].Rule != "run" || !strings.Contains(got[0].Lead, " brought ") || !strings.Contains(got[0].Lead, " The season is late or weak: ") || !strings.HasPrefix(got[0].Summary, got[0].Lead+" ") {
		t.Errorf("a season and a run of its weeks give %+v", got)
	}
	noted := s.on(s.ask.AsOf)
	noted.notes = []store.AlertNote{got[0].Noted(Note{On: s.ask.AsOf}, time.Unix(1e9, 0))}
	if got := weak(noted); len(got) != 2 || got[0].Rule != "season" || got[0].Note != nil || got[1].Note == nil || strings.Contains(got[1].Says(), "The season") {
		t.Errorf("a season, and a run that was seen, give %+v", got)
	}
	if got = weak(s.on(at + 15)); len(got) != 1 || strings.Contains(got[0].Lead, "season") || !strings.Contains(got[0].Summary, " The season may be late or weak: ") {
		t.Errorf("a run while the season rises gives %+v", got)
	}
	// What is odd the other way, of one kind, or of another season stands alone.
	season, so := usualYears{}.of(t, s)
	others := []Alert{{Rule: "run", Kind: everything, Observed: 9, Expected: 5, Until: s.ask.AsOf - 1}, {Rule: "kind", Kind: "cooling", Expected: 5, Until: s.ask.AsOf - 1}, {Rule: "run", Kind: everything, Expected: 5, Until: so.start - 1}}
	w := &watcher{shop: s}
	if got := w.inSeason(slices.Clone(others), season, so); len(got) != 4 || got[0].Rule != "season" || !reflect.DeepEqual(got[1:], others) {
		t.Errorf("%+v", got)
	}
	if got := w.inSeason(others[:1], season, nil); len(got) != 1 {
		t.Errorf("without a season: %+v", got)
	}
}

// Where all kinds rise together one alert tells it, and only a kind that rises
// by more than the others has one of its own.
func TestWatchRushOfAllKinds(t *testing.T) {
	at := forecast.NewDate(2026, 8, 10)
	rush := demo.Planted{From: at, Until: at + 27, Times: 2.8}
	for _, c := range []struct {
		planted []demo.Planted
		want    string // kinds told of
	}{{[]demo.Planted{rush}, ""}, {[]demo.Planted{rush, {Kind: "plumbing", From: at, Until: at + 27, Times: 3}}, "plumbing"}} {
		s, _ := invented(7, 6, at+28, c.planted...)
		whole, kinds := 0, []string{}
		for _, a := range watchOf(t, s).Alerts {
			switch {
			case a.Kind == everything && a.above() && a.Rule != "season":
				whole++
			case a.Rule == "kind":
				kinds = append(kinds, a.Kind)
			}
		}
		if have := strings.Join(kinds, " "); whole != 1 || have != c.want {
			t.Errorf("want the whole told once and kinds %q, have %d and %q", c.want, whole, have)
		}
	}
}

// without gives a shop without the jobs that gone says, and what else came.
func (s *shop) without(gone func(workload.Job) bool, more ...workload.Job) *shop {
	book := *s.book
	book.Jobs = slices.DeleteFunc(append(slices.Clone(s.book.Jobs), more...), gone)
	slices.SortStableFunc(book.Jobs, func(a, b workload.Job) int { return int(a.DroppedOff - b.DroppedOff) })
	out := *s
	out.book = &book
	out.known, out.odd = book.Known(s.ask.AsOf), nil
	return &out
}

func rules(w Watch) (out []string) {
	for _, a := range w.Alerts {
		out = append(out, a.Rule)
	}
	return out
}

func TestWatchWeeks(t *testing.T) {
	s, _ := invented(3, 4, forecast.NewDate(2026, 9, 14))
	w := watchOf(t, s)
	if len(w.Weeks) != watched || w.Weeks[watched-1].Week != s.ask.AsOf-7 || w.Weeks[0].Week != s.ask.AsOf-watched*7 {
		t.Fatalf("want the last %d weeks, have %d", watched, len(w.Weeks))
	}
	far := 0
	for _, x := range w.Weeks {
		if !(x.Chance > 0 && x.Chance <= 1) || !(x.Expected.Mean > 0) || x.Verdict == "busy" && x.DropOffs < x.Expected.P90 || x.Verdict == "quiet" && x.DropOffs > x.Expected.P10 {
			t.Errorf("%+v", x)
		}
		if x.DropOffs < x.Expected.P10 || x.DropOffs > x.Expected.P90 {
			far++
		}
	}
	if far > 12 { // of 26, with a chance of about .2 each
		t.Errorf("%d of %d weeks outside of their range", far, watched)
	}
	// A week is judged by what was known on its Monday, the season by what was
	// known when it began: five wild weeks at the end change neither.
	var wild []workload.Job
	for _, j := range s.book.Jobs {
		if j.DroppedOff >= s.ask.AsOf-35 {
			wild = append(wild, j, j)
		}
	}
	other := s.without(func(workload.Job) bool { return false }, wild...)
	if v := watchOf(t, other); !reflect.DeepEqual(w.Weeks[:watched-5], v.Weeks[:watched-5]) || v.Weeks[watched-5].Expected != w.Weeks[watched-5].Expected || v.Weeks[watched-1].Expected == w.Weeks[watched-1].Expected {
		t.Errorf("later weeks changed how earlier ones were judged")
	}
	_, before, err := (&watcher{shop: s}).season()
	if err != nil {
		t.Fatal(err)
	}
	if _, after, err := (&watcher{shop: other}).season(); err != nil || after.usual != before.usual || after.seen == before.seen || after.start != before.start {
		t.Errorf("the usual season was %v and is %v", before.usual, after.usual)
	}
	// What comes on the day or later has no say.
	earlier := s.ask.AsOf - 30
	cut := s.without(func(j workload.Job) bool { return j.DroppedOff >= earlier })
	for i := range s.book.Jobs {
		s.book.Jobs[i].Hours, cut.book.Jobs[min(i, len(cut.book.Jobs)-1)].Hours = math.NaN(), math.NaN()
	}
	if a, b := watchOf(t, s.on(earlier)), watchOf(t, cut.on(earlier)); !reflect.DeepEqual(a, b) {
		t.Errorf("later records changed the answer: %v, %v", a, b)
	}
}

func TestWatchShortHistories(t *testing.T) {
	whole, _ := invented(3, 4, forecast.NewDate(2026, 9, 14))
	start := whole.known.Total.Start
	for _, weeks := range []int{1, 3, 8, 9, 20, 60, 103, 110} {
		s := whole.on(start + forecast.Date(weeks*forecast.Week) + 2)
		w := watchOf(t, s)
		if want := min(watched, max(0, weeks-leastKnown)); len(w.Weeks) != want {
			t.Errorf("after %d weeks %d are judged, want %d", weeks, len(w.Weeks), want)
		}
		if known := w.Season.ShiftDays.Known(); known != (weeks > 104) || !known && w.Season.Verdict != tooEarly {
			t.Errorf("after %d weeks the season is %+v", weeks, w.Season)
		}
	}
}

// A hole in the records is no lull, and a pile entered in one day no rush.
func TestWatchGaps(t *testing.T) {
	day := forecast.NewDate(2026, 8, 18)
	one := &watcher{shop: &shop{known: workload.Past{Total: forecast.Series{Start: day.Monday(), Step: forecast.Week, Values: make([]float64, 2)}}}, n: 2, gap: make([]bool, 2)}
	if one.addGap(day, day, 12, 1e-6); !one.gap[0] || one.gap[1] || !strings.HasPrefix(one.gaps[0].alert.Lead, "No drop-offs are on record on August 18, where about 12") {
		t.Errorf("a day without records: %v, %+v", one.gap, one.gaps)
	}
	s, _ := invented(3, 4, forecast.NewDate(2026, 9, 14))
	from := forecast.NewDate(2026, 8, 17)
	var pile []workload.Job
	w := watchOf(t, s.without(func(j workload.Job) bool { return j.DroppedOff >= from && j.DroppedOff < from+14 }))
	if got := rules(w); !slices.Contains(got, "gap") || slices.Contains(got, "week") || slices.Contains(got, "run") {
		t.Errorf("two weeks without records give %v", got)
	} else if a := w.Alerts[0]; a.Since < from-3 || a.Since > from || a.Observed != 0 || a.Expected < 20 || !strings.Contains(a.Summary, "no lull") {
		t.Errorf("%+v", a)
	}
	if len(w.Weeks) != watched-2 {
		t.Errorf("want two weeks less, have %d", len(w.Weeks))
	}
	for range 70 {
		pile = append(pile, workload.Job{Kind: len(pile) % 8, DroppedOff: from + 1, Hours: math.NaN()})
	}
	w = watchOf(t, s.without(func(workload.Job) bool { return false }, pile...))
	if got := rules(w); !slices.Contains(got, "gap") || slices.Contains(got, "week") || slices.Contains(got, "run") || slices.Contains(got, "kind") {
		t.Errorf("seventy rows of one day give %v", got)
	}
	// Records that end are the same gap.
	w = watchOf(t, s.without(func(j workload.Job) bool { return j.DroppedOff >= from }))
	if got := rules(w); !slices.Contains(got, "gap") || slices.Contains(got, "run") || slices.Contains(got, "week") {
		t.Errorf("records that end four weeks ago give %v and %v", got, w.Warnings)
	}
}

// A kind that stops as another begins is a new word, and no lull and no rush.
func TestWatchRenaming(t *testing.T) {
	s, _ := invented(3, 4, forecast.NewDate(2026, 9, 14))
	s.book.Kinds = append(s.book.Kinds, "roof air")
	old, word := slices.Index(s.book.Kinds, "cooling"), len(s.book.Kinds)-1
	from := forecast.NewDate(2026, 7, 20)
	renamed := func(share int) (alerts []Alert) {
		w := s.without(func(workload.Job) bool { return false })
		for i, j := range w.book.Jobs {
			if j.Kind == old && j.DroppedOff >= from && i%share == 0 {
				w.book.Jobs[i].Kind = word
			}
		}
		w = w.without(func(j workload.Job) bool { return j.Kind == old && j.DroppedOff >= from })
		return watchOf(t, w).Alerts
	}
	alerts := renamed(1)
	if a := alerts[0]; len(alerts) != 1 || a.Rule != "gap" || a.Kind != "cooling" || a.Since >= from || a.Since < from-7 || !strings.Contains(a.Summary, `freshet kinds merge "roof air" --into "cooling"`) {
		t.Errorf("a renamed kind gives %+v", alerts)
	}
	// One that comes a tenth as often is something else.
	for _, a := range renamed(10) {
		if a.Rule == "gap" {
			t.Errorf("a few jobs are taken for all of a kind: %+v", a)
		}
	}
}

// Story 5: three of a kind that comes four times a year aren't worth an alert
// among thirty kinds, four are.
func TestWatchClusters(t *testing.T) {
	s, _ := invented(3, 4, forecast.NewDate(2026, 9, 14))
	var rare []workload.Job
	for k := range 30 {
		s.book.Kinds = append(s.book.Kinds, "rare "+string(rune('A'+k)))
		for year := forecast.Date(0); year < 3; year++ {
			for i := range forecast.Date(4) {
				rare = append(rare, workload.Job{Kind: len(s.book.Kinds) - 1, DroppedOff: s.ask.AsOf - 100 - 365*year - 90*i + forecast.Date(k%7), Hours: math.NaN()})
			}
		}
	}
	boards := len(s.book.Kinds) - 1
	for n := range 5 {
		more := slices.Clone(rare)
		for i := range n {
			more = append(more, workload.Job{Kind: boards, DroppedOff: s.ask.AsOf - 12 + forecast.Date(2*i), Hours: math.NaN()})
		}
		w := watchOf(t, s.without(func(workload.Job) bool { return false }, more...))
		var clusters []Alert
		for _, a := range w.Alerts {
			if a.Rule == "cluster" {
				clusters = append(clusters, a)
			}
		}
		if want := map[bool]int{true: 1}[n == 4]; len(clusters) != want {
			t.Fatalf("%d in ten days give %+v", n, clusters)
		}
		if n == 4 {
			if a := clusters[0]; a.Kind != s.book.Kinds[boards] || a.Since != s.ask.AsOf-12 || a.Observed != 4 || a.Chance > .0012 || a.Chance < .0004 { // .00075 at exactly 4 a year
				t.Errorf("%+v", a)
			}
		}
	}
}

// What is least likely comes first, whatever found it; only what the records
// lack comes before it.
func TestAlertOrder(t *testing.T) {
	alerts := []Alert{{Rule: "week", Weekly: .01}, {Rule: "cluster", Weekly: .001}, {Rule: "gap", Weekly: .05}, {Rule: "run", Weekly: .002}}
	slices.SortStableFunc(alerts, byOdds)
	if got, want := rules(Watch{Alerts: alerts}), []string{"gap", "cluster", "run", "week"}; !slices.Equal(got, want) {
		t.Errorf("want %v, have %v", want, got)
	}
	at := forecast.NewDate(2026, 7, 6)
	s, _ := invented(1, 5, at+21, demo.Planted{Kind: "cooling", From: at, Until: at + 20, Times: 5})
	w := watchOf(t, s)
	for i, a := range w.Alerts {
		if !(a.Weekly > 0 && a.Weekly >= w.Alerts[max(0, i-1)].Weekly) || a.Lead == "" || !strings.HasPrefix(a.Summary, a.Lead+" ") {
			t.Errorf("%+v", a)
		}
	}
}

// A failure that notes name is found among the usual ones, with what to stock;
// a new one is too; and one that a rush of its kind brings along isn't.
func TestWatchFailures(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	whole, _ := invented(3, 4, forecast.NewDate(2026, 9, 14))
	clusters := func(jobs int, note string, every forecast.Date) (out []Alert) {
		s := *whole
		s.details = slices.Clone(whole.details)
		for i := range jobs {
			s.details = append(s.details, store.Job{RO: fmt.Sprint("extra ", i), Kind: "cooling", Note: note, DroppedOff: s.ask.AsOf - 12 + every*forecast.Date(i)/2})
		}
		slices.SortStableFunc(s.details, func(a, b store.Job) int { return int(a.DroppedOff - b.DroppedOff) })
		for _, a := range watchOf(t, &s).Alerts {
			if a.Failure != "" {
				out = append(out, a)
			}
		}
		return out
	}
	if got := clusters(0, "", 0); got != nil {
		t.Errorf("the usual notes give %+v", got)
	}
	got := clusters(5, "Inverter: burnt smell, smell", 3)
	if len(got) != 1 || got[0].Failure != "inverter burnt" && got[0].Failure != "burnt smell" || got[0].Kind != "cooling" || got[0].Observed != 5 || got[0].Since != whole.ask.AsOf-12 || !strings.Contains(got[0].Summary, " in stock would last that long 9 times in 10.") {
		t.Errorf("a failure never seen before gives %+v", got)
	}
	if got := clusters(3, "Inverter: burnt smell", 3); len(got) != 1 || got[0].Observed != 3 {
		t.Errorf("three of the same, never seen before, give %+v", got)
	}
	if got := clusters(3, "thermostat dead", 3); got != nil {
		t.Errorf("three of a usual failure give %+v", got)
	}
	if got := clusters(5, "Inverter: burnt smell", 12); got != nil {
		t.Errorf("the same over a month gives %+v", got)
	}
	if got := clusters(14, "roof unit blows warm", 1); len(got) != 1 || got[0].Failure != "unit blows" && got[0].Failure != "roof unit" && got[0].Failure != "blows warm" || got[0].Observed < 14 {
		t.Errorf("a usual failure fourteen times gives %+v", got)
	}
	// As some hundred words are watched, each has a hundredth of the budget.
	for jobs := 4; jobs < 14; jobs++ {
		if got := clusters(jobs, "thermostat dead", 1); got != nil {
			if got[0].Chance > failureChance/80 {
				t.Errorf("%d of a usual failure, with a chance of %v, are told of", jobs, got[0].Chance)
			}
			break
		}
	}
	// A rush in the kind, with its usual notes.
	at := forecast.NewDate(2026, 7, 6)
	rush, _ := invented(3, 4, at+7, demo.Planted{Kind: "cooling", From: at, Until: at + 6, Times: 10})
	for _, a := range watchOf(t, rush).Alerts {
		if a.Failure != "" {
			t.Errorf("a rush in a kind gives %+v", a)
		}
	}
}

// The words: what, since when, how seldom, which kinds, which hours.
func TestWatchWords(t *testing.T) {
	at := forecast.NewDate(2026, 7, 6)
	s, _ := invented(1, 5, at+21, demo.Planted{Kind: "cooling", From: at, Until: at + 20, Times: 5})
	w := watchOf(t, s)
	all := ""
	for _, a := range w.Alerts {
		all += a.Rule + " " + a.Kind + ": " + a.Summary + "\n"
	}
	for _, word := range []string{"kind cooling: The 3 weeks from July 6 brought ", "All drop-offs together were odd too: the 3 weeks from July 6 brought ", "less than once in 20 years", "It is mostly cooling (+", "hours a week more than expected"} {
		if !strings.Contains(all, word) {
			t.Errorf("want %q in\n%s", word, all)
		}
	}
	if strings.Contains(all, "week all") || strings.Contains(all, "run all") { // the kind tells of it
		t.Errorf("one cause has two alerts:\n%s", all)
	}
	// Two weeks on the rush is told as over, and no longer than it was.
	s, _ = invented(1, 5, at+35, demo.Planted{Kind: "cooling", From: at, Until: at + 20, Times: 5})
	for _, a := range watchOf(t, s).Alerts {
		if a.Kind == "cooling" && (a.Since != at || a.Until > at+20 || !strings.Contains(a.Summary, "it may be over")) {
			t.Errorf("%+v", a)
		}
	}
	for chance, want := range map[float64]string{.5: "about once in 2 weeks", .0429: "about once in 5 months", .0073: "about once in 3 years", 1e-4: "less than once in 20 years"} {
		if have := seldom(chance); have != want {
			t.Errorf("%v is %q, want %q", chance, have, want)
		}
	}
	for _, c := range []struct {
		late, early, low, high, share float64
		want                          string
	}{{.72, .01, .37, .1, .4, tooEarly}, {.85, 0, .3, .1, .4, "late"}, {.3, 0, .9, 0, .8, "low"}, {0, .9, 0, .1, .5, "early"}, {0, .1, 0, .95, .9, "high"}, {.3, .2, .2, .2, .8, "on time"}, {.6, .1, .2, .2, .65, tooEarly}, {.6, .1, .2, .2, .75, "late"}} {
		if have := verdict(c.late, c.early, c.low, c.high, c.share); have != c.want {
			t.Errorf("%+v: have %q", c, have)
		}
	}
}

func BenchmarkWatch(b *testing.B) {
	s, _ := invented(1, 10, forecast.NewDate(2026, 11, 23))
	b.ReportAllocs()
	for b.Loop() {
		s.odd = nil // the watcher is made once a shop
		if _, err := s.watch(); err != nil {
			b.Fatal(err)
		}
	}
}
