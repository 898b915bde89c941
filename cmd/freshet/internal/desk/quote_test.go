package desk

import (
	"flag"
	"math"
	"testing"

	"freshet/forecast"
	"freshet/ingest/demo"
)

var quoted = flag.Int("quoted", 1, "number of invented shops whose quotes are scored, from -first on")

// Quotes of invented shops for the jobs of their last two years, each by what
// was known on its day, against three simple rules at the same kept rate.
func TestQuotesKept(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds a shop")
	}
	asOf := forecast.NewDate(2026, 11, 23)
	var all []QuoteRow
	season := map[int][2]float64{}
	for i := range *quoted {
		d := DemoDesk(t, demo.SixYears(uint64(*first+i**every), asOf))
		rows, err := d.QuoteRows(t.Context(), Ask{AsOf: asOf, Weeks: 13, Seed: Seed(asOf)})
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rows...)
		s := scoreQuotes(rows)
		t.Logf("shop %d: %d jobs, kept %.3f %.3f %.3f, mean %.1f days (%.1f %.1f %.1f)", *first+i**every, s.N, s.Kept50, s.Kept80, s.Kept90, s.MeanDays80, s.Rules[0].EqualDays, s.Rules[1].EqualDays, s.Rules[2].EqualDays)
	}
	for _, r := range all {
		k := season[int(r.DroppedOff.Time().Month())%12/3]
		k[1]++
		if r.Ready <= r.P80 {
			k[0]++
		}
		season[int(r.DroppedOff.Time().Month())%12/3] = k
		if r.P50 > r.P80 || r.P80 > r.P90 || r.P50 < r.DroppedOff {
			t.Fatalf("want dates in order, have %+v", r)
		}
	}
	s := scoreQuotes(all)
	t.Logf("all %d: kept %.3f %.3f %.3f of dates for 50, 80 and 90 %%, mean %.2f days, pinball %.3f", s.N, s.Kept50, s.Kept80, s.Kept90, s.MeanDays80, s.Pinball80)
	for _, r := range s.Rules {
		t.Logf("%s: %.2f days at the same kept rate, pinball %.3f", r.Rule, r.EqualDays, r.Pinball80)
	}
	// One shop's two years wander more than fifty shops' do.
	slack := .06 / math.Sqrt(float64(*quoted))
	if s.Kept80 < .77-slack || s.Kept80 > .84+slack {
		t.Errorf("want 77 to 84 %% kept, have %.3f", s.Kept80)
	}
	for i, name := range []string{"winter", "spring", "summer", "fall"} {
		k := season[i]
		t.Logf("%s: %.3f of %.0f", name, k[0]/k[1], k[1])
		if *quoted >= 10 && (k[0]/k[1] < .7 || k[0]/k[1] > .9) {
			t.Errorf("%s: want 70 to 90 %% kept, have %.3f", name, k[0]/k[1])
		}
	}
	// How much shorter hangs on how long a shop's line gets: one quiet shop's
	// dates need only be shorter.
	best, week, sheet := min(s.Rules[0].EqualDays, s.Rules[1].EqualDays), 1., 1.
	if *quoted >= 10 {
		week, sheet = .75, .95
	}
	if s.MeanDays80 > week*best || s.MeanDays80 > sheet*s.Rules[2].EqualDays {
		t.Errorf("want days below %.2f and %.2f, have %.2f", week*best, sheet*s.Rules[2].EqualDays, s.MeanDays80)
	}
	for _, r := range s.Rules {
		if s.Pinball80 >= r.Pinball80 {
			t.Errorf("%s: want a pinball loss below %.3f, have %.3f", r.Rule, r.Pinball80, s.Pinball80)
		}
	}
}

// A quote adds up, falls on open days, and goes the way of what it is told.
func TestQuote(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	asOf := forecast.NewDate(2026, 9, 14)
	spec := demo.SixYears(2, forecast.NewDate(2026, 11, 23))
	d := DemoDesk(t, spec)
	ask := Ask{AsOf: asOf, Weeks: 13, Seed: Seed(asOf)}
	c, err := d.Counter(t.Context(), ask)
	if err != nil {
		t.Fatal(err)
	}
	get := func(q Inquiry) Quote {
		t.Helper()
		v, err := c.Quote(q)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	usual := get(Inquiry{Kind: "Cooling", Hours: 4, PartsDays: -1})
	sum := 0.0
	for _, b := range usual.Because {
		sum += b.Days
	}
	if days := float64(usual.Ready.P80 - asOf); math.Abs(sum-days) > .3 {
		t.Errorf("want parts that add up to %g days, have %+v", days, usual.Because)
	}
	for _, day := range []forecast.Date{usual.Ready.P50, usual.Ready.P80, usual.Ready.P90} {
		if c.calendar.OpenShare(day) == 0 {
			t.Errorf("want open days, have %v", day)
		}
	}
	if rush := get(Inquiry{Kind: "cooling", Hours: 4, PartsDays: -1, Emergency: true}); rush.Ready.P80 >= usual.Ready.P80 || rush.BringIn != asOf {
		t.Errorf("want an emergency before %v, and no wait at home, have %+v", usual.Ready.P80, rush)
	}
	here, late := get(Inquiry{Kind: "cooling", Hours: 4, PartsDays: 0}), get(Inquiry{Kind: "cooling", Hours: 4, PartsDays: 60})
	if here.Ready.P80 > late.Ready.P80 || late.Ready.P50 < asOf+60 {
		t.Errorf("want a part that comes in 60 days waited for, have %v and %v", here.Ready, late.Ready)
	}
	if usual.Tried < leastCohort || usual.Kept80 == nil || usual.Say == "" || len(usual.Cautions) == 0 {
		t.Errorf("want the past, a sentence and a caution with it, have %+v", usual)
	}
	for _, bad := range []Inquiry{{Kind: "dentistry"}, {Kind: "cooling", Hours: -1}, {Kind: "cooling", Hours: 1e9}, {Kind: "cooling", PartsDays: 1e9}} {
		if _, err := c.Quote(bad); err == nil {
			t.Errorf("want an error for %+v", bad)
		}
	}
}
