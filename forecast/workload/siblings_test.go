package workload_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/workload"
	"freshet/ingest/demo"
)

// Regions from 101 on were never looked at while pooling was made.
var (
	regions  = flag.Int("regions", 2, "regions whose shops TestSiblings forecasts alone and pooled")
	regionAt = flag.Uint64("region", 101, "the first of them")
)

// book is a region's shop from one day until another, as its records tell.
func book(region, seed uint64, from, until forecast.Date) *workload.Book {
	shop := demo.Generate(demo.Spec{Seed: seed, Region: region, From: from, Until: until})
	b := &workload.Book{}
	index := map[string]int{}
	for _, t := range demo.Truths() {
		index[t.Kind] = len(b.Kinds)
		b.Kinds = append(b.Kinds, t.Kind)
	}
	for _, l := range shop.Lines {
		j := workload.Job{Kind: index[l.Kind], DroppedOff: l.DroppedOff, Ready: l.Ready, Hours: math.NaN()}
		if l.Ready != 0 {
			j.Hours = l.Clocked
		}
		b.Jobs = append(b.Jobs, j)
	}
	return b
}

// ahead is how 13 weeks of forecasts came out, summed over weeks and shops.
type ahead struct {
	dropOffs, hours struct{ off, came, wis, inside, n float64 }
}

func (a *ahead) add(b *workload.Book, fu workload.Futures) {
	came, hours := make([]float64, fu.Total.H), make([]float64, fu.Total.H)
	for _, j := range b.Jobs {
		if w := int(j.DroppedOff-fu.Total.Start) / forecast.Week; j.DroppedOff >= fu.Total.Start && w < len(came) {
			came[w]++
			hours[w] += j.Hours
		}
	}
	for w := range came {
		for _, q := range []struct {
			to   *struct{ off, came, wis, inside, n float64 }
			y    float64
			dist forecast.Dist
		}{{&a.dropOffs, came[w], fu.Total.Dist(w)}, {&a.hours, hours[w], fu.Labor.Dist(w)}} {
			q.to.off += math.Abs(q.dist.Quantile(.5) - q.y)
			q.to.came += q.y
			q.to.wis += forecast.WIS(q.dist, q.y, .5, .8, .95)
			if q.dist.Quantile(.1) <= q.y && q.y <= q.dist.Quantile(.9) {
				q.to.inside++
			}
			q.to.n++
		}
	}
}

func (a ahead) String() string {
	d, h := a.dropOffs, a.hours
	return fmt.Sprintf("drop-offs WAPE %.1f %%, WIS %.1f %%, inside 80 %% ranges %.0f %%; hours WAPE %.1f %%, WIS %.1f %%, inside %.0f %%",
		100*d.off/d.came, 100*d.wis/d.came, 100*d.inside/d.n, 100*h.off/h.came, 100*h.wis/h.came, 100*h.inside/h.n)
}

// young gives the shop as if it had begun so many weeks before.
func young(b *workload.Book, asOf, weeks forecast.Date) *workload.Book {
	out := *b
	from, _ := slices.BinarySearchFunc(b.Jobs, asOf-7*weeks, func(j workload.Job, d forecast.Date) int { return int(j.DroppedOff - d) })
	out.Jobs = b.Jobs[from:]
	return &out
}

// TestSiblings forecasts shops with a short history alone and with what five
// siblings of five years teach. It must help while the history is short, and
// not hurt once there are three years of it, nor a shop whose siblings are of
// another part of the world, half a year away.
func TestSiblings(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	histories := []forecast.Date{8, 20, 40, 156}
	const alone, pooled, foreign = 0, 1, 2
	scores := make([][3]ahead, len(histories))
	for region := *regionAt; region < *regionAt+uint64(*regions); region++ {
		asOf := (forecast.NewDate(2024, 1, 1) + forecast.Date(rand.New(rand.NewPCG(region, 0)).IntN(365))).Monday()
		var near, far []workload.Lesson
		for s := range uint64(5) {
			l := lesson(t, book(region, 1000*region+s, asOf-7*260, asOf), asOf)
			near, far = append(near, l), append(far, turned(l))
		}
		for s := range uint64(4) {
			shop := book(region, 1000*region+500+s, asOf-7*156, asOf+7*40)
			for i, weeks := range histories {
				for how, siblings := range []*workload.Siblings{nil, kept(t, workload.Pool(near)), kept(t, workload.Pool(far))} {
					b := young(shop, asOf, weeks)
					b.Siblings = siblings
					fit, err := workload.Model{}.Fit(b.Known(asOf))
					if err != nil {
						t.Fatal(err)
					}
					scores[i][how].add(b, fit.Simulate(13, 400, rand.New(rand.NewPCG(region, s))))
				}
			}
		}
	}
	short := 0.0 // the mean ratio of the young
	for i, weeks := range histories {
		t.Logf("%d weeks:\n alone   %v\n pooled  %v\n foreign %v", weeks, scores[i][alone], scores[i][pooled], scores[i][foreign])
		times := func(how int) float64 { return scores[i][how].dropOffs.wis / scores[i][alone].dropOffs.wis }
		hours := func(how int) float64 { return scores[i][how].hours.wis / scores[i][alone].hours.wis }
		most := 1.
		if weeks >= 156 {
			most = 1.02
			if times(foreign) > 1.03 || hours(foreign) > 1.03 {
				t.Errorf("foreign siblings of a shop of %d weeks make the scores %.3f and %.3f times as large", weeks, times(foreign), hours(foreign))
			}
		} else {
			short += times(pooled) / 3
		}
		if times(pooled) > most || hours(pooled) > most {
			t.Errorf("siblings of a shop of %d weeks make the scores %.3f and %.3f times as large, want %v or less", weeks, times(pooled), hours(pooled), most)
		}
	}
	if short > .9 {
		t.Errorf("siblings of young shops make the scores %.3f times as large, want 0.9 or less", short)
	}
}

// kept gives siblings as they come back from where they are kept.
func kept(t *testing.T, s *workload.Siblings) (back *workload.Siblings) {
	t.Helper()
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	return back
}

func lesson(t *testing.T, b *workload.Book, asOf forecast.Date) workload.Lesson {
	t.Helper()
	fit, err := workload.Model{}.Fit(b.Known(asOf))
	if err != nil {
		t.Fatal(err)
	}
	l, err := fit.Lesson()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// turned gives the lesson of a shop with the season half a year away: harmonics
// of odd number change their sign.
func turned(l workload.Lesson) workload.Lesson {
	turn := func(c counts.Lesson) counts.Lesson {
		n := len(c.Pull)
		sign := func(i int) float64 { return 1 - 2*float64((i/2+1)%2) }
		c.Pull, c.Info = slices.Clone(c.Pull), slices.Clone(c.Info)
		for i := range n {
			c.Pull[i] *= sign(i)
			for j := range n {
				c.Info[i*n+j] *= sign(i) * sign(j)
			}
		}
		return c
	}
	l.Total = turn(l.Total)
	l.Kinds = slices.Clone(l.Kinds)
	for k, kl := range l.Kinds {
		if kl.Season != nil {
			season := turn(*kl.Season)
			l.Kinds[k].Season = &season
		}
	}
	return l
}
