package workload

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/forecasttest"
)

var monday = forecast.NewDate(2026, 6, 1)

// invented gives weeks of jobs before monday: kinds with seasons of their own,
// level jobs a week in all, 5 hours each on average, ready within 20 days or,
// one in five, within half a year.
func invented(weeks, kinds int, level float64, seed uint64) *Book {
	rng := rand.New(rand.NewPCG(seed, 3))
	b := &Book{}
	for k := range kinds {
		b.Kinds = append(b.Kinds, fmt.Sprintf("kind %d", k))
	}
	for d := monday - forecast.Date(weeks*forecast.Week); d < monday; d++ {
		if weekdays(d) == 0 {
			continue
		}
		for k := range kinds {
			mu := level / 5 / float64(kinds) * math.Exp(.5*math.Sin(2*math.Pi*(float64(d)/365.25-float64(k)/float64(kinds))))
			for sum := rng.ExpFloat64(); sum < mu; sum += rng.ExpFloat64() {
				j := Job{Kind: k, DroppedOff: d, Ready: d + 1 + forecast.Date(rng.IntN(20)), Hours: 5 * rng.ExpFloat64()}
				if rng.IntN(5) == 0 {
					j.Ready += forecast.Date(rng.IntN(160))
				}
				if j.Ready >= monday {
					j.Ready, j.Hours = 0, math.NaN()
				}
				b.Jobs = append(b.Jobs, j)
			}
		}
	}
	return b
}

// futures forecasts as of a day, and checks what holds for every forecast.
func futures(t testing.TB, b *Book, asOf forecast.Date, weeks, n int) Futures {
	t.Helper()
	fit, err := Model{}.Fit(b.Known(asOf))
	if err != nil {
		t.Fatal(err)
	}
	fu := fit.Simulate(weeks, n, rand.New(rand.NewPCG(1, 2)))
	sum := func(what string, whole forecast.Paths, parts []forecast.Paths) {
		for i, v := range whole.Values {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Fatalf("%s of path %d, week %d are %v", what, i/weeks, i%weeks, v)
			}
			for _, p := range parts {
				v -= p.Values[i]
			}
			if math.Abs(v) > 1e-9*(1+whole.Values[i]) {
				t.Fatalf("%s of path %d, week %d: kinds miss the whole by %v", what, i/weeks, i%weeks, v)
			}
		}
	}
	sum("drop-offs", fu.Total, fu.DropOffs)
	if fu.Labor.Values != nil {
		sum("hours", fu.Labor, fu.Hours)
		for i, v := range fu.Still {
			if v < 0 || v > fu.Labor.Path(i)[0]+1e-9 {
				t.Fatalf("path %d: %v hours to come in a week of %v", i, v, fu.Labor.Path(i)[0])
			}
		}
	}
	return fu
}

func same(t *testing.T, what string, a, b Futures) {
	t.Helper()
	if !slices.Equal(a.Total.Values, b.Total.Values) || !slices.Equal(a.Labor.Values, b.Labor.Values) {
		t.Error(what)
	}
}

// Shops that have grown by 3 % a year for six years aren't forecast at the mean of
// those years, though a year's own luck hides it.
func TestGrowth(t *testing.T) {
	const shops, weeks, rate = 8, 13, .03
	said, came := 0.0, 0.0
	for seed := range uint64(shops) {
		b := invented(6*52+weeks, 2, 60, seed)
		rng := rand.New(rand.NewPCG(seed, 4))
		b.Jobs = slices.DeleteFunc(b.Jobs, func(j Job) bool {
			return rng.Float64() > math.Exp(rate*float64(j.DroppedOff-monday)/365.25)
		})
		asOf := monday - weeks*forecast.Week
		p := b.Known(asOf)
		fit, err := Shifting(p).Fit(p.Total)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range fit.Forecast(weeks).Dists {
			said += d.Mean()
		}
		for _, j := range b.Jobs {
			if j.DroppedOff >= asOf {
				came++
			}
		}
	}
	if off := said/came - 1; math.Abs(off) > .025 {
		t.Errorf("the forecasts of %d shops that grow are off by %+.1f %%", shops, 100*off)
	}
}

// A forecast may know nothing of the day that begins nor of later ones.
func TestNothingLeaksIn(t *testing.T) {
	b := invented(90, 3, 15, 1)
	rapid.Check(t, func(r *rapid.T) {
		asOf := monday - forecast.Date(rapid.IntRange(1, 200).Draw(r, "days before the end"))
		changed := &Book{Kinds: b.Kinds}
		for _, j := range b.Jobs {
			if j.DroppedOff >= asOf {
				j.DroppedOff += 3
				j.Kind = 2 - j.Kind
			}
			if j.Ready >= asOf {
				j.Ready, j.Hours = j.Ready+50, 3*j.Hours
			}
			changed.Jobs = append(changed.Jobs, j)
		}
		changed.Events = []Event{{Name: "a surprise", From: asOf, Until: asOf + 3, Effect: OneTime}}
		same(t, fmt.Sprintf("what came on or after %v changed the forecast of that day", asOf),
			futures(t, b, asOf, 3, 20), futures(t, changed, asOf, 3, 20))
	})
}

func TestOrderAndScale(t *testing.T) {
	b := invented(120, 3, 15, 2)
	want := futures(t, b, monday, 6, 200)
	shuffled := &Book{Kinds: b.Kinds, Jobs: slices.Clone(b.Jobs)}
	rand.New(rand.NewPCG(5, 5)).Shuffle(len(shuffled.Jobs), func(i, j int) {
		shuffled.Jobs[i], shuffled.Jobs[j] = shuffled.Jobs[j], shuffled.Jobs[i]
	})
	// A Book stands in order of days; within a day any order will do.
	slices.SortStableFunc(shuffled.Jobs, func(a, b Job) int { return int(a.DroppedOff - b.DroppedOff) })
	have := futures(t, shuffled, monday, 6, 200)
	if !slices.Equal(want.Total.Values, have.Total.Values) {
		t.Error("the order of a day's rows changed the drop-offs")
	}
	double := &Book{Kinds: b.Kinds, Jobs: slices.Clone(b.Jobs)}
	for i := range double.Jobs {
		double.Jobs[i].Hours *= 3
	}
	for i, v := range futures(t, double, monday, 6, 200).Labor.Values {
		if math.Abs(v-3*want.Labor.Values[i]) > 1e-9*(1+v) {
			t.Fatalf("3 times the hours give %v for %v", v, want.Labor.Values[i])
		}
	}
}

// One gross error may move next week's median and mean by a tenth at most.
func TestOneGrossError(t *testing.T) {
	b := invented(160, 3, 20, 3)
	want := futures(t, b, monday, 2, 8000)
	near := func(what string, have, want forecast.Dist) {
		t.Helper()
		if h, w := have.Quantile(.5), want.Quantile(.5); math.Abs(h-w) > .1*w {
			t.Errorf("%s moved the median from %v to %v", what, w, h)
		}
		if h, w := have.Mean(), want.Mean(); math.Abs(h-w) > .1*w {
			t.Errorf("%s moved the mean from %v to %v", what, w, h)
		}
	}
	for _, back := range []forecast.Date{8, 70, 400} {
		typo := &Book{Kinds: b.Kinds, Jobs: slices.Clone(b.Jobs)}
		i := slices.IndexFunc(typo.Jobs, func(j Job) bool { return j.DroppedOff >= monday-back })
		typo.Jobs[i].Ready, typo.Jobs[i].Hours = typo.Jobs[i].DroppedOff+1, 10000
		near(fmt.Sprintf("10,000 hours %d days ago", back), futures(t, typo, monday, 2, 8000).Labor.Dist(1), want.Labor.Dist(1))

		flood := &Book{Kinds: b.Kinds, Jobs: slices.Clone(b.Jobs)}
		for range 300 {
			flood.Jobs = slices.Insert(flood.Jobs, i, Job{DroppedOff: typo.Jobs[i].DroppedOff, Hours: math.NaN()})
		}
		near(fmt.Sprintf("300 rows of one day %d days ago", back), futures(t, flood, monday, 2, 8000).Total.Dist(1), want.Total.Dist(1))
	}
}

func TestRecordsThatStop(t *testing.T) {
	b := invented(160, 2, 15, 4)
	late := monday + 70
	p := b.Known(late)
	if n := p.Total.Len(); n != 170 || p.Total.Observed() != 160 || !p.Closed || len(p.Warning) != 1 {
		t.Errorf("want 160 of 170 weeks observed and a warning, have %d of %d, %v", p.Total.Observed(), n, p.Warning)
	}
	have, want := futures(t, b, late, 2, 2000).Total.Dist(0).Mean(), 15.0
	if have < want/2 {
		t.Errorf("after ten weeks without records want near %v a week, have %v", want, have)
	}
	few := invented(4, 2, 3, 4) // a file of a dozen jobs, looked at long after
	p = few.Known(monday + 40*forecast.Week)
	if p.Total.Observed() != 4 || !p.Closed || len(p.Warning) != 1 {
		t.Errorf("want 4 weeks observed and a warning, have %d, %v", p.Total.Observed(), p.Warning)
	}
}

func TestHostileHistories(t *testing.T) {
	ended := invented(160, 3, 20, 5) // kind 2 stops after two years, kind 1 appears then
	ended.Jobs = slices.DeleteFunc(ended.Jobs, func(j Job) bool {
		return j.Kind == 2 && j.DroppedOff > monday-56*forecast.Week || j.Kind == 1 && j.DroppedOff <= monday-56*forecast.Week
	})
	closed := invented(160, 3, 20, 6)
	shut := func(d forecast.Date) bool { return d >= monday-400 && d < monday-370 }
	closed.Jobs = slices.DeleteFunc(closed.Jobs, func(j Job) bool { return shut(j.DroppedOff) })
	closed.Open = func(d forecast.Date) float64 {
		if shut(d) || d >= monday+14 && d < monday+42 {
			return 0
		}
		return weekdays(d)
	}
	gap := invented(40, 2, 20, 7)
	for _, j := range slices.Clone(gap.Jobs) {
		j.DroppedOff -= 3653
		j.Ready -= 3653
		gap.Jobs = append(gap.Jobs, j)
	}
	slices.SortFunc(gap.Jobs, func(a, b Job) int { return int(a.DroppedOff - b.DroppedOff) })
	oneDay := &Book{Kinds: []string{"a"}}
	for range 800 {
		oneDay.Jobs = append(oneDay.Jobs, Job{DroppedOff: monday - 30, Ready: monday - 20, Hours: 2})
	}
	days := []forecast.Date{monday, monday + 2, forecast.NewDate(2027, 1, 2)} // the last in week 53
	if testing.Short() {
		days = days[1:2]
	}
	for name, b := range map[string]*Book{
		"one row":             {Kinds: []string{"a"}, Jobs: []Job{{DroppedOff: monday - 3, Hours: math.NaN()}}},
		"one row of today":    {Kinds: []string{"a"}, Jobs: []Job{{DroppedOff: monday - 1, Ready: monday - 1, Hours: 4}}},
		"three weeks":         invented(3, 2, 20, 8),
		"twenty weeks":        invented(20, 2, 20, 8),
		"a year":              invented(52, 2, 20, 8),
		"kinds come and go":   ended,
		"five hundred kinds":  invented(150, 500, 20, 9),
		"a closed month":      closed,
		"ten years of nobody": gap,
		"all in one day":      oneDay,
	} {
		t.Run(name, func(t *testing.T) {
			for _, asOf := range days {
				futures(t, b, asOf, 8, 200)
			}
		})
	}
	fu := futures(t, closed, monday, 8, 2000)
	if a, b := fu.Total.Dist(0).Mean(), fu.Total.Dist(3).Mean(); b > .75*a {
		t.Errorf("a closed week is expected to bring %v, an open one %v", b, a)
	}
	fu = futures(t, ended, monday, 3, 2000)
	if a, b := fu.DropOffs[2].Dist(1).Mean(), fu.DropOffs[1].Dist(1).Mean(); a > .5 || b < 3 {
		t.Errorf("want none of the kind that stopped and plenty of the new one, have %v and %v", a, b)
	}
	if _, err := (Model{}).Fit(ended.Known(forecast.NewDate(2000, 1, 1))); err != ErrNoRecords {
		t.Errorf("before the records want ErrNoRecords, have %v", err)
	}
}

func TestEvents(t *testing.T) {
	// Each year's second week of June brings twice as much.
	rally := func(year int) (from, until forecast.Date) {
		d := forecast.NewDate(year, 6, 10).Monday()
		return d, d + 6
	}
	plain := invented(310, 2, 20, 10)
	b := &Book{Kinds: plain.Kinds}
	for _, j := range plain.Jobs {
		b.Jobs = append(b.Jobs, j)
		if from, until := rally(j.DroppedOff.Year()); from <= j.DroppedOff && j.DroppedOff <= until {
			b.Jobs = append(b.Jobs, j)
		}
	}
	week := func(events ...Event) forecast.Dist {
		b.Events = events
		return futures(t, b, monday, 4, 4000).Total.Dist(1)
	}
	width := func(d forecast.Dist) float64 { return d.Quantile(.9) - d.Quantile(.1) }
	none := week()
	from, until := rally(2026)
	yearly := week(Event{Name: "rally", From: from, Until: until, Effect: Yearly})
	if r := yearly.Mean() / none.Mean(); r < 1.2 {
		t.Errorf("a yearly rally that doubles its week moves the next one by %v", r)
	}
	unheard := week(Event{Name: "balloon meet", From: from, Until: until, Effect: Known})
	if width(unheard) < 1.3*width(none) {
		t.Errorf("an event never seen widens its week from %v to %v only", width(none), width(unheard))
	}
	past := []Event{{Name: "Balloon meet ", From: from, Until: until, Effect: Known}}
	for year := 2021; year < 2026; year++ {
		f, u := rally(year)
		past = append(past, Event{Name: "balloon meet", From: f, Until: u, Effect: OneTime})
	}
	if known := week(past...); known.Mean() < 1.2*none.Mean() || width(known) > width(unheard) {
		t.Errorf("an event known from the past moves its week from %v to %v, width %v", none.Mean(), known.Mean(), width(known))
	}
	var once []Event
	for year := 2021; year < 2026; year++ {
		f, u := rally(year)
		once = append(once, Event{Name: fmt.Sprint(year), From: f, Until: u, Effect: OneTime})
	}
	if left := week(once...); left.Mean() > none.Mean()-.5 {
		t.Errorf("with the rallies left out the week is expected to bring %v, with them %v", left.Mean(), none.Mean())
	}
}

// Weeks that won't come again bend neither the whole nor a kind's share of it;
// but only from the day on which that was said.
func TestOneTimeWeeks(t *testing.T) {
	b := invented(210, 2, 20, 11)
	from, until := monday-52*forecast.Week, monday-44*forecast.Week-1
	for _, j := range slices.Clone(b.Jobs) {
		for range 2 {
			if j.Kind == 0 && from <= j.DroppedOff && j.DroppedOff <= until {
				b.Jobs = append(b.Jobs, j)
			}
		}
	}
	slices.SortStableFunc(b.Jobs, func(a, b Job) int { return int(a.DroppedOff - b.DroppedOff) })
	two := func(events ...Event) (whole, share float64) {
		b.Events = events
		fu := futures(t, b, monday, 8, 2000)
		for j := range 8 {
			whole += fu.Total.Dist(j).Mean()
			share += fu.DropOffs[0].Dist(j).Mean()
		}
		return whole, share / whole
	}
	bent, share := two()
	storm := Event{Name: "storm", From: from, Until: until, Effect: OneTime, Said: monday}
	whole, straight := two(storm)
	t.Logf("eight weeks bring %.0f, of which %.0f %% of the kind; with the storm left out %.0f and %.0f %%", bent, 100*share, whole, 100*straight)
	if whole > .95*bent || straight > share-.02 {
		t.Errorf("a storm said to be one bends the next year: %.0f of %.0f, share %.2f of %.2f", whole, bent, straight, share)
	}
	storm.Said++
	if later, same := two(storm); later != bent || same != share {
		t.Errorf("what is said tomorrow moved today's forecast from %v to %v", bent, later)
	}
}

// The resampling of paths equals the gamma-Poisson nowcast: NB of mean 24 and
// size 12, 58 % of a week usually in, 14 seen (references nowcast_*).
func TestNowcast(t *testing.T) {
	ref := forecasttest.Ref(t, "nowcast_total")
	var in struct{ Mean, Size, Share, Seen float64 }
	ref.Into(t, &in)
	f := &Fit{past: Past{AsOf: monday + 3, Share: in.Share, Seen: []float64{in.Seen}, Total: forecast.Series{Start: monday, Step: forecast.Week}},
		total: gammaPoisson{mean: in.Mean, size: in.Size}}
	d := f.paths(1, 60000, rand.New(rand.NewPCG(1, 1))).Dist(0)
	if want := ref.Values(t)[0]; math.Abs(d.Mean()-want) > .1 {
		t.Errorf("mean %v, want %v", d.Mean(), want)
	}
	forecasttest.Ref(t, "nowcast_p10_p90").Equal(t, d.Quantile(.1), d.Quantile(.9))
}

// gammaPoisson is a fit that draws negative binomial weeks.
type gammaPoisson struct {
	forecast.Fit
	mean, size float64
}

func (g gammaPoisson) Simulate(h, n int, rng *rand.Rand) forecast.Paths {
	out := forecast.NewPaths(monday, forecast.Week, h, n)
	for i := range out.Values {
		mu := g.mean * counts.Gamma(rng, g.size) / g.size
		for sum := rng.ExpFloat64(); sum < mu; sum += rng.ExpFloat64() {
			out.Values[i]++
		}
	}
	return out
}

// A week's hours are a compound sum (references compound_hours, story2_*).
func TestCompoundHours(t *testing.T) {
	var in struct {
		Mean, Size float64
		HMean      float64 `json:"hours_mean"`
		HCV        float64 `json:"hours_cv"`
	}
	story := forecasttest.Ref(t, "story2_hours")
	story.Into(t, &in)
	rng := rand.New(rand.NewPCG(2, 2))
	sigma := math.Sqrt(math.Log(1 + in.HCV*in.HCV))
	jobs := make([]float64, 400000)
	for i := range jobs {
		jobs[i] = in.HMean * math.Exp(sigma*rng.NormFloat64()-sigma*sigma/2)
	}
	f := &Fit{past: Past{AsOf: monday, Kinds: []string{"a"}, Seen: []float64{0}, Total: forecast.Series{Start: monday, Step: forecast.Week}},
		total: certain{gammaPoisson{mean: in.Mean, size: in.Size}}, pool: jobs, kinds: []kindFit{{share: 1, size: math.Inf(1), hours: jobs, own: 1}}}
	labor := f.Simulate(1, 40000, rng).Labor
	d := labor.Dist(0)
	for i, want := range story.Values(t) {
		if have := d.Quantile([]float64{.5, .8, .9}[i]); math.Abs(have-want) > story.Tolerance {
			t.Errorf("story2_hours[%d]: want %v ± %v, have %v", i, want, story.Tolerance, have)
		}
	}
	over := forecasttest.Ref(t, "story2_over136")
	if have, want := 1-d.CDF(136), over.Values(t)[0]; math.Abs(have-want) > over.Tolerance {
		t.Errorf("story2_over136: want %v, have %v", want, have)
	}
	moments := forecasttest.Ref(t, "compound_hours").Values(t)
	sq := 0.0
	for _, v := range labor.Values {
		sq += (v - d.Mean()) * (v - d.Mean())
	}
	if sd := math.Sqrt(sq / float64(labor.N())); math.Abs(d.Mean()-moments[0]) > 1 || math.Abs(sd-moments[1]) > 1.2 {
		t.Errorf("compound_hours: want mean %v and sd %v, have %v and %v", moments[0], moments[1], d.Mean(), sd)
	}
}

// certain is a gammaPoisson without doubts.
type certain struct{ gammaPoisson }

func (certain) Forecast(int) forecast.Forecast { return forecast.Forecast{} }

func BenchmarkShop(b *testing.B) {
	past := invented(312, 8, 20, 1).Known(monday)
	b.Run("fit", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := (Model{}).Fit(past); err != nil {
				b.Fatal(err)
			}
		}
	})
	fit, err := Model{}.Fit(past)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("2000 futures of 13 weeks", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			fit.Simulate(13, 2000, rand.New(rand.NewPCG(1, 2)))
		}
	})
}

// In a shop's first weeks too few drop-offs are on record to tell how a week's
// divide among its days: the open days that have passed tell what is still to
// come. Four a day are twenty a week.
func TestFirstWeeks(t *testing.T) {
	for from := range forecast.Date(4) {
		b := &Book{Kinds: []string{"a"}}
		for day := from; day < 19; day++ {
			for range int(4 * weekdays(monday+day)) {
				b.Jobs = append(b.Jobs, Job{DroppedOff: monday + day, Hours: math.NaN()})
			}
		}
		for asOf := from + 2; asOf <= 19; asOf++ {
			fu := futures(t, b, monday+asOf, 3, 400)
			for j := range 2 {
				if mean := fu.Total.Dist(j).Mean(); mean < 7 || mean > 35 {
					t.Errorf("records from day %d on, asked on day %d: week %d is expected to bring %.1f", from, asOf, j, mean)
				}
			}
		}
	}
}

// Where everything that is on record is over for good, or nothing was before the
// day, that is said as it is.
func TestNothingToGoBy(t *testing.T) {
	b := invented(10, 2, 20, 8)
	b.Events = []Event{{Name: "storm", From: monday - 80, Until: monday - 1, Effect: OneTime}}
	fit, err := Model{}.Fit(b.Known(monday))
	if err != nil {
		t.Fatal(err)
	}
	if w := fit.Simulate(1, 10, rand.New(rand.NewPCG(1, 1))).Warnings; len(w) == 0 || w[0].Error() != "need 3 whole weeks of records to forecast, have 0: the range is a rough guess" {
		t.Errorf("have %v", w)
	}
	if _, err := Backtest(Model{}, b, monday, []forecast.Date{monday, monday + 70}, 4, 10, 1); err == nil {
		t.Error("scored what hasn't come")
	}
}

// A kind that takes no hours at its shops, such as a look for free, has a spread
// of its means all the same.
func TestSiblingsOfNoHours(t *testing.T) {
	b := invented(60, 2, 20, 8)
	for i := range b.Jobs {
		if b.Jobs[i].Kind == 0 && b.Jobs[i].Ready > 0 {
			b.Jobs[i].Hours = 0
		}
	}
	fit, err := Model{}.Fit(b.Known(monday))
	if err != nil {
		t.Fatal(err)
	}
	l, err := fit.Lesson()
	if err != nil {
		t.Fatal(err)
	}
	few := invented(5, 2, 20, 9)
	few.Siblings = Pool([]Lesson{l, l})
	futures(t, few, monday, 3, 50)
}
