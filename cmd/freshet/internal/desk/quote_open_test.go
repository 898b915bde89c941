package desk

import (
	"math"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/ingest/demo"
)

// Of the days by which jobs in the shop are likely to be ready, 5 and 8 in 10
// hold: each by what was known once its day was over, on days of the last year.
func TestLikelyKept(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds a shop")
	}
	last := forecast.NewDate(2026, 11, 23)
	const dayOver = workFrom + workHours // whatever was ready that day is on record, so that no work may be left of it
	n, kept50, kept80, ahead := 0., 0., 0., 0.
	for i := range *quoted {
		d := DemoDesk(t, demo.SixYears(uint64(*first+i**every), last))
		for day := last - 330; day < last-60; day += 45 {
			c, err := d.counter(t.Context(), Ask{AsOf: day, Weeks: 13, Seed: Seed(day)})
			if err != nil {
				t.Fatal(err)
			}
			likely, err := c.Likely(dayOver)
			if err != nil {
				t.Fatal(err)
			}
			jobs, err := d.Store.Jobs(t.Context(), day-forgotten, last+1)
			if err != nil {
				t.Fatal(err)
			}
			for _, j := range jobs {
				l, ok := likely[j.Key]
				if !ok {
					continue
				}
				if l.P50 < day || l.P80 < l.P50 {
					t.Fatalf("want days in order, have %+v on %s", l, day)
				}
				n++
				ahead += float64(l.P80 - day)
				if j.Ready.Valid && j.Ready.V <= l.P50 {
					kept50++
				}
				if j.Ready.Valid && j.Ready.V <= l.P80 {
					kept80++
				}
			}
		}
	}
	t.Logf("%.0f jobs: %.3f and %.3f ready by their days for 5 and 8 in 10, the latter %.1f days ahead in the mean", n, kept50/n, kept80/n, ahead/n)
	// Jobs of one day share its weather, so that one shop's few days wander.
	if slack := .12 / math.Sqrt(float64(*quoted)); n < 40 || kept80/n < .78-slack || kept80/n > .86+slack {
		t.Errorf("want 78 to 86 %% kept, have %.3f", kept80/n)
	}
}

func TestLikelySays(t *testing.T) {
	day := func(d int) forecast.Date { return forecast.NewDate(2026, 11, d) }
	l := Likely{P50: day(24), P80: day(27), asOf: day(23)}
	for promised, want := range map[forecast.Date]string{
		0:       "We expect to have it ready by Friday, November 27; in 8",
		day(20): "It isn't ready as we said it would be. We now expect it by Friday, November 27",
		day(25): "It may not be ready on Wednesday, November 25 as we said. We now expect it by Friday, November 27",
		day(30): "we still expect it by Monday, November 30, as we said",
	} {
		if said := l.Say(promised); !strings.Contains(said, want) {
			t.Errorf("have %q, need %q", said, want)
		}
	}
	l.Beyond = true
	if said := l.Say(0); !strings.Contains(said, "can't say yet") {
		t.Errorf("have %q", said)
	}
}
