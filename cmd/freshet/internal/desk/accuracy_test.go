package desk

import (
	"flag"
	"math"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/naive"
	"freshet/forecast/workload"
	"freshet/ingest/demo"
)

// To measure over more shops than the test does:
//
//	go test ./cmd/freshet/internal/desk -run Accuracy -v -timeout 1h -seeds 50
//	… -seeds 25 -first 2 -every 2    the even ones, on which nothing was tuned
var (
	seeds = flag.Int("seeds", 2, "number of invented shops")
	first = flag.Int("first", 1, "seed of the first shop")
	every = flag.Int("every", 1, "step from one seed to the next")
)

// demoBook gives an invented shop's book as the desk would make it, and the
// day after its last.
func demoBook(seed int) (*workload.Book, forecast.Date) {
	return bookOf(demo.Generate(demo.SixYears(uint64(seed), forecast.NewDate(2026, 11, 25))))
}

func bookOf(shop demo.Shop) (*workload.Book, forecast.Date) {
	calendar := capacity.DefaultCalendar()
	calendar.Days = map[forecast.Date]float64{}
	for _, a := range shop.Off {
		for d := a.From; a.Name == "shop" && d <= a.Until; d++ {
			calendar.Days[d] = 0
		}
	}
	b := &workload.Book{Open: calendar.OpenShare}
	index := map[string]int{}
	for i, k := range demo.Truths() {
		b.Kinds = append(b.Kinds, k.Kind)
		index[k.Kind] = i
	}
	for _, e := range shop.Events {
		b.Events = append(b.Events, workload.Event{Name: e.Name, From: e.From, Until: e.Until, Effect: workload.Effect(e.Effect)})
	}
	for _, l := range shop.Lines {
		j := workload.Job{Kind: index[l.Kind], DroppedOff: l.DroppedOff, Ready: l.Ready, Hours: math.NaN()}
		if l.Ready != 0 {
			j.Hours = l.Clocked
		}
		b.Jobs = append(b.Jobs, j)
	}
	return b, shop.Spec.Until
}

// gathered is what shops' rolling origins gave for one quantity: the model's
// outcomes, those of its rivals, and the errors of the oracle.
type gathered struct {
	model, profile, naive []forecast.Outcome
	oracle                float64
}

// way gives the share of the way from the same week last year to the oracle.
func (g *gathered) way(of []forecast.Outcome, point func(forecast.Dist) float64) float64 {
	rule, own := 0.0, 0.0
	for _, o := range of {
		rule += math.Abs(o.Actual - o.Rule)
		own += math.Abs(o.Actual - point(o.Dist))
	}
	return (rule - own) / (rule - g.oracle)
}

func mean(d forecast.Dist) float64   { return d.Mean() }
func median(d forecast.Dist) float64 { return d.Quantile(.5) }

// add scores rivals where the model was scored, on the weeks of actual.
func (g *gathered) add(t *testing.T, r workload.Record, actual forecast.Series, oracle func(monday forecast.Date) float64) {
	t.Helper()
	type at struct{ origin, step int }
	scored := map[at]forecast.Outcome{}
	var origins []int
	for _, o := range r.Outcomes {
		scored[at{o.Origin, o.Step}] = o
		if len(origins) == 0 || origins[len(origins)-1] != o.Origin {
			origins = append(origins, o.Origin)
		}
		g.oracle += math.Abs(o.Actual - oracle(actual.At(o.Origin+o.Step-1)))
	}
	g.model = append(g.model, r.Outcomes...)
	for m, to := range map[forecast.Model]*[]forecast.Outcome{naive.Profile{}: &g.profile, naive.Seasonal{}: &g.naive} {
		_, out, err := forecast.Backtest(m, actual, 13, origins)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range out {
			if own, ok := scored[at{o.Origin, o.Step}]; ok {
				o.Rule = own.Rule
				*to = append(*to, o)
			}
		}
	}
}

// The forecasts of invented shops, weeks 1 to 13 ahead from every ninth Monday
// of the last four years, against an oracle that knows the long-run season
// but not the year, the same week last year, and a careful person's
// spreadsheet.
func TestAccuracy(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	var dropOffs, hours gathered
	truths := demo.Truths()
	for i := range *seeds {
		b, asOf := demoBook(*first + i**every)
		var origins []forecast.Date
		for o := forecast.NewDate(2023, 1, 2); o+91 <= asOf; o += 63 {
			origins = append(origins, o)
		}
		r, err := workload.Backtest(workload.Model{}, b, asOf, origins, 13, 1000, 1)
		if err != nil {
			t.Fatal(err)
		}
		total := b.Known(asOf).Total
		dropOffs.add(t, r.DropOffs, total, func(monday forecast.Date) float64 {
			sum := 0.0
			for _, k := range truths {
				sum += k.LongRun(monday)
			}
			return sum
		})
		worked := total.Like(make([]float64, total.Len()))
		for _, j := range b.Jobs {
			if w := int(j.DroppedOff-total.Start) / forecast.Week; j.DroppedOff >= total.Start && w < total.Len() && !math.IsNaN(j.Hours) {
				worked.Values[w] += j.Hours
			}
		}
		hours.add(t, r.Hours, worked, func(monday forecast.Date) float64 {
			sum := 0.0
			for _, k := range truths {
				sum += k.LongRun(monday) * k.MeanHours
			}
			return sum
		})
	}
	for _, g := range []struct {
		name string
		gathered
	}{{"drop-offs", dropOffs}, {"hours", hours}} {
		s, n := forecast.Summarize(g.model), forecast.Summarize(g.naive)
		t.Logf("%-9s way %.3f (by medians %.3f; profile %.3f)  80 %% ranges cover %.3f, 95 %% %.3f  WIS over seasonal naive's %.3f  WAPE %.3f  N %d",
			g.name, g.way(g.model, mean), g.way(g.model, median), g.way(g.profile, mean), s.Coverage80, s.Coverage95, s.WIS/n.WIS, s.WAPE, s.N)
		for _, h := range []int{1, 4, 8, 13} {
			var ahead []forecast.Outcome
			for _, o := range g.model {
				if o.Step == h {
					ahead = append(ahead, o)
				}
			}
			a := forecast.Summarize(ahead)
			t.Logf("  %2d ahead: %.3f of the rule's error, cover %.3f", h, a.RatioToRule(), a.Coverage80)
		}
		// Two shops of luck: the limits are loose, the figures of many stand in
		// the README.
		if w := g.way(g.model, median); w < .85 || w < g.way(g.profile, mean) {
			t.Errorf("%s: %.3f of the way to the oracle, the profile %.3f", g.name, w, g.way(g.profile, mean))
		}
		if s.Coverage80 < .72 || s.Coverage80 > .88 {
			t.Errorf("%s: 80 %% ranges cover %.3f", g.name, s.Coverage80)
		}
		if r := s.WIS / n.WIS; r > .78 {
			t.Errorf("%s: %.3f of seasonal naive's weighted interval score", g.name, r)
		}
	}
}

// Ranges are true for short histories too: the count model on the last weeks
// before every ninth Monday, 13 weeks ahead.
func TestCoverageByLength(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	for _, weeks := range []int{10, 20, 30, 50, 75, 100, 156} {
		var all []forecast.Outcome
		for i := range *seeds {
			b, asOf := demoBook(*first + i**every)
			total := b.Known(asOf).Total
			for at := 156; at+13 <= total.Len(); at += 9 {
				_, out, err := forecast.Backtest(counts.Model{}, total.Slice(at-weeks, at+13), 13, []int{weeks})
				if err != nil {
					t.Fatal(err)
				}
				all = append(all, out...)
			}
		}
		s := forecast.Summarize(all)
		t.Logf("%3d weeks: 80 %% ranges cover %.3f, 95 %% %.3f, WIS %.3f", weeks, s.Coverage80, s.Coverage95, s.WIS)
		if s.Coverage80 < .68 {
			t.Errorf("after %d weeks 80 %% ranges cover %.3f", weeks, s.Coverage80)
		}
	}
}
