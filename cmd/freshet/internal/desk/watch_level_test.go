package desk

import (
	"math"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/demo"
	"freshet/ingest/store"
)

// After an odd run the forecast follows the newest weeks: eight weeks ahead it
// is nearer to a level that lasts, and not much further from one that doesn't,
// nor in a quiet shop, where a run is chance. To measure:
//
//	go test ./cmd/freshet/internal/desk -run NewLevel -v -timeout 1h -shops 40
func TestNewLevel(t *testing.T) {
	if *shops < 20 {
		t.Skip("runs are few: needs -shops 20 or more to tell")
	}
	type outcomes struct{ plain, follows []forecast.Outcome }
	end := forecast.NewDate(2026, 11, 23)
	of, looks := map[string]outcomes{}, map[string]int{}
	for seed := *from; seed < *from+*shops; seed++ {
		at := forecast.NewDate(2026, 1, 5) + forecast.Date(seed%16*2*forecast.Week)
		for name, planted := range map[string][]demo.Planted{"as ever": nil, "a third more": {{From: at, Until: end, Times: 4. / 3}}, "a third less": {{From: at, Until: end, Times: 2. / 3}}, "four weeks of six tenths more": {{From: at, Until: at + 27, Times: 1.6}}} {
			whole, _ := invented(seed, 6, end, planted...)
			for d := at + forecast.Week; d < at+17*forecast.Week; d += 2 * forecast.Week {
				s := whole.on(d)
				looks[name]++
				ahead := func() (out []forecast.Outcome) {
					fit, err := workload.Counts(s.known).Fit(s.known.Total)
					if err != nil {
						t.Fatal(err)
					}
					for j, d := range fit.Forecast(8).Dists {
						out = append(out, forecast.Outcome{Step: j + 1, Dist: d, Actual: whole.known.Total.Values[s.known.Total.Len()+j]})
					}
					return out
				}
				plain := ahead()
				if s.follow() == "" {
					continue
				}
				o := of[name]
				o.plain, o.follows = append(o.plain, plain...), append(o.follows, ahead()...)
				of[name] = o
			}
		}
	}
	for name, o := range of {
		plain, follows := forecast.Summarize(o.plain), forecast.Summarize(o.follows)
		t.Logf("%s: a run stands in %d of %d looks; WAPE %.3f, was %.3f; interval score %.2f, was %.2f", name, len(o.plain)/8, looks[name], follows.WAPE, plain.WAPE, follows.WIS, plain.WIS)
		if strings.HasPrefix(name, "a third") && follows.WIS > plain.WIS || follows.WIS > 1.1*plain.WIS {
			t.Errorf("%s: following the newest weeks the interval score is %.2f, else %.2f", name, follows.WIS, plain.WIS)
		}
	}
}

// It says so, unless the weeks were said not to come again.
func TestFollowSays(t *testing.T) {
	at := forecast.NewDate(2026, 6, 1)
	s, _ := invented(1, 5, at+5*forecast.Week, demo.Planted{From: at, Until: at + 200, Times: 1.7})
	usual, err := workload.Counts(s.known).Fit(s.known.Total)
	if err != nil {
		t.Fatal(err)
	}
	f, err := s.futures()
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(s.outlook(f).Warnings, " ")
	if !strings.Contains(said, "More came since ") || !strings.Contains(said, "follows the newest weeks") {
		t.Fatalf("have %q", said)
	}
	if a, b := f.Total.Dist(1).Mean(), usual.Forecast(2).Dists[1].Mean(); a < 1.02*b {
		t.Errorf("two weeks ahead %.1f are expected, and %.1f if nothing had been odd", a, b)
	}
	since := s.known.NewLevel
	for because, follows := range map[string]bool{"a storm": false, "a competitor closed": true} {
		then := s.on(s.ask.AsOf)
		then.notes = []store.AlertNote{{Rule: "run", Kind: everything, Above: true, Began: since, Until: s.ask.AsOf, Because: because, OneTime: !follows}}
		if have := then.follow() != ""; have != follows || have != (then.known.NewLevel != 0) {
			t.Errorf("%s: want %v, have %v", because, follows, have)
		}
	}
	if math.Abs(float64(since-at)) > 2*forecast.Week {
		t.Errorf("since %v, planted on %v", since, at)
	}
	// What one kind brings is told as that kind's: a word on it holds for both.
	s, _ = invented(1, 5, at+4*forecast.Week, demo.Planted{Kind: "cooling", From: at, Until: at + 200, Times: 4})
	if s.follow() == "" {
		t.Fatal("a rush in a kind isn't followed")
	}
	var kind Alert
	for _, a := range watchOf(t, s).Alerts {
		if a.Kind == "cooling" {
			kind = a
		} else if a.Kind == everything && a.Rule != "season" {
			t.Errorf("one cause has two alerts: %+v", a)
		}
	}
	s.notes = []store.AlertNote{kind.Noted(Note{Because: "a recall", OneTime: true}, time.Unix(1e9, 0))}
	if said := s.follow(); said != "" {
		t.Errorf("a rush that won't come again is followed: %s", said)
	}
}
