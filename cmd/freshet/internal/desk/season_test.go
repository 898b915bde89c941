package desk

import (
	"cmp"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest/demo"

	"gonum.org/v1/gonum/stat"
)

// To measure over more seasons, and on the chance to be short:
//
//	go test ./cmd/freshet/internal/desk -run 'FollowingTheAdvice|ChanceShort' -v -timeout 1h -seasons 20 -books 200
//	… -seasons 40 -first 301 -odd    the odd year, on shops that nothing was tuned on
var (
	seasons = flag.Int("seasons", 0, "number of invented shops whose last season is run through with and without the advice")
	oddOne  = flag.Bool("odd", false, "give those shops the odd year, a quiet spring and a late flood, in that season")
	books   = flag.Int("books", 2, "number of invented shops on which the chance to be short is checked")
)

// trueShop is a shop of the generator with what the desk would know of it.
type trueShop struct {
	demo.Shop
	book *workload.Book
	asOf forecast.Date
	*Counter
}

func invent(seed, odd int) trueShop { return inventIn(0, seed, odd) }

// inventIn invents a shop in a region: in one of its own it has a season, a size
// and a mix of work of its own.
func inventIn(region, seed, odd int) trueShop {
	spec := demo.SixYears(uint64(seed), forecast.NewDate(2026, 11, 25))
	spec.OddYear, spec.Region = odd, uint64(region)
	s := trueShop{Shop: demo.Generate(spec)}
	s.book, s.asOf = bookOf(s.Shop)
	c := &Counter{asOf: s.asOf, kinds: s.book.Kinds, calendar: capacity.DefaultCalendar(), policy: capacity.DefaultPolicy(), habits: map[forecast.Date]capacity.Habits{}}
	c.calendar.Days = map[forecast.Date]float64{}
	for _, a := range s.Off {
		if a.Name != "shop" {
			c.absences = append(c.absences, capacity.Absence{Name: a.Name, From: a.From, Until: a.Until})
			continue
		}
		for d := a.From; d <= a.Until; d++ {
			c.calendar.Days[d] = 0
		}
	}
	for _, t := range s.Crew {
		c.crew = append(c.crew, capacity.Technician{Name: t.Name, WeeklyHours: t.WeeklyHours, Productivity: t.Productivity, Skills: strings.Split(t.Skills, ";"),
			From: t.From, Until: t.Until, HourlyCost: t.HourlyCost})
	}
	for i, l := range s.Lines {
		c.visits = append(c.visits, visit{kind: s.book.Jobs[i].Kind, in: l.DroppedOff, ready: l.Ready, left: l.PickedUp, quoted: l.Quoted, clocked: l.Clocked, parts: float64(l.PartsWait),
			emergency: l.Emergency, deferrable: l.Deferrable})
	}
	s.Counter = c
	return s
}

// plan is the plan that the desk would make on a Monday, with n paths.
func (s trueShop) plan(t *testing.T, monday forecast.Date, weeks, n int) capacity.Plan {
	t.Helper()
	past := s.book.Known(monday)
	fit, err := workload.Model{}.Fit(past)
	if err != nil {
		t.Fatal(err)
	}
	f := fit.Simulate(weeks, n, rand.New(rand.NewPCG(uint64(monday), 0)))
	return capacity.Plan{From: monday, Calendar: s.calendar, Crew: s.crewOn(monday), Absences: s.absences, Open: s.openOn(monday), Kinds: demands(f, past.Seen),
		Habits: s.habitsOn(monday), Policy: s.policy, Seed: uint64(monday)}
}

// task is a visit as it came to be, on a floor that begins on a day.
func (v visit) task(start forecast.Date) capacity.Task {
	t := capacity.Task{Kind: v.kind, In: int(v.in - start), Hours: v.clocked, Rank: capacity.Usual}
	t.From = t.In + int(max(0, v.parts))
	switch {
	case v.emergency:
		t.Rank = capacity.Urgent
	case v.deferrable:
		t.Rank = capacity.CanWait
	}
	return t
}

// The chance that a week brings more work than those who can do it have hours,
// said 1 to 13 weeks ahead from every ninth Monday of four years, beside how
// often it did by the generator's own hours and waits for parts: within 5
// points in each of ten bins, but for what chance explains. The bins are cut
// twice: ten of the same width, of which the highest has few weeks, and ten of
// the same number of weeks (deciles of risk, Hosmer and Lemeshow 1980,
// Communications in Statistics A9).
//
// Of shops that are all one shop, many times over, none is busier in its best
// weeks than that one: where much is said, most have been too hopeful of how many
// come, which no forecast from one shop's records can know. Shops whose seasons,
// sizes and work differ are the fair test.
func TestChanceShort(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	for _, c := range []struct {
		name          string
		shop          func(seed int) trueShop
		enough        int // shops for chance to be out of the way
		wide, deciles int // bins within 5 points on them, at least
	}{
		{"shops of many regions", func(seed int) trueShop { return inventIn(regions+seed, seed, 0) }, 200, 10, 10},
		{"one shop many times", func(seed int) trueShop { return invent(seed, 0) }, 50, 8, 9},
		{"one shop many times, odd years", func(seed int) trueShop { return invent(seed, 2026) }, 50, 4, 7},
	} {
		t.Run(c.name, func(t *testing.T) {
			all := foretell(t, c.shop)
			slices.SortStableFunc(all, func(a, b foretold) int { return cmp.Compare(a.said, b.said) })
			var wide, deciles [10]bin
			for i, w := range all {
				k, d := min(9, int(10*w.said)), 10*i/len(all)
				wide[k], deciles[d] = append(wide[k], w), append(deciles[d], w)
			}
			for _, cut := range []struct {
				how  string
				bins [10]bin
				want int
			}{{"of as many weeks", deciles, c.deciles}, {"of the same width", wide, c.wide}} {
				t.Log("bins", cut.how)
				if near := calibrated(t, cut.bins); *books >= c.enough && near < cut.want {
					t.Errorf("want %d bins %s within 5 points, have %d", cut.want, cut.how, near)
				}
			}
		})
	}
}

// regions is the one before the first that has no other use.
const regions = 1000

// foretold is a week of a shop with the chance that was said for it on a Monday.
type foretold struct {
	shop   int
	monday forecast.Date
	said   float64
	came   float64 // 1 if it did, else 0
}

// bin is weeks that much the same chance was said for.
type bin []foretold

// sums gives the chance said and the share in which it came, and the standard
// error of the difference (White 1980, Econometrica 48, for clusters). What was
// said from one Monday errs together, for all its weeks and, as years do, for all
// shops; so does what was said of one shop, whose season is found once: the
// larger error of the two counts, and at least that of weeks that have nothing
// to do with each other.
func (b bin) sums() (said, came, se float64) {
	n := float64(len(b))
	for _, w := range b {
		said, came = said+w.said/n, came+w.came/n
	}
	mondays, shops := map[forecast.Date]float64{}, map[int]float64{}
	for _, w := range b {
		off := w.came - w.said - (came - said)
		mondays[w.monday] += off
		shops[w.shop] += off
	}
	var byMonday, byShop float64
	for _, off := range mondays {
		byMonday += off * off
	}
	for _, off := range shops {
		byShop += off * off
	}
	return said, came, math.Sqrt(max(byMonday, byShop, n*said*(1-said))) / n
}

// farOff is by how much a chance may be off in the mean over the weeks of two
// shops: chance alone makes it 4 to 7 points, hours that are 15 % too few 8 to 9.
const farOff = .075

// foretell gives what was said of all shops' weeks, and what came.
func foretell(t *testing.T, shop func(seed int) trueShop) (all []foretold) {
	const weeks, paths = 13, 400
	for i := range *books {
		s := shop(*first + i)
		for o := forecast.NewDate(2023, 1, 2) + forecast.Date(7*(i%9)); o+7*weeks <= s.asOf-28; o += 63 {
			p := s.plan(t, o, weeks, paths)
			out, err := p.Outcome()
			if err != nil {
				t.Fatal(err)
			}
			floor, err := capacity.NewFloor(p.Crew, p.Calendar, p.Absences, s.kinds, o, 7*weeks)
			if err != nil {
				t.Fatal(err)
			}
			var tasks []capacity.Task
			for _, v := range s.visits {
				if v.in >= o-openTooLong && v.ready >= o {
					tasks = append(tasks, v.task(o))
				}
			}
			for j, short := range floor.Short(tasks) {
				if out.Weeks[j].Available > 0 { // else it is closed
					w := foretold{shop: i, monday: o, said: out.ChanceShort[j]}
					if short > 0 {
						w.came = 1
					}
					all = append(all, w)
				}
			}
		}
	}
	return all
}

// calibrated gives how many of ten bins are within 5 points.
func calibrated(t *testing.T, bins [10]bin) (near int) {
	// Of ten bins all lie within so many standard errors in 95 of 100 cases
	// (Bonferroni, normal quantile of 1 - .05/20).
	const within = 2.81
	weighed, all := 0.0, 0.0
	for k, b := range bins {
		if len(b) == 0 {
			continue
		}
		said, came, se := b.sums()
		t.Logf("said %3.0f %%, came %3.0f %% of %4d weeks: %+5.1f points, standard error %.1f", 100*said, 100*came, len(b), 100*(came-said), 100*se)
		weighed, all = weighed+math.Abs(came-said)*float64(len(b)), all+float64(len(b))
		if math.Abs(came-said) <= .05 {
			near++
		}
		if math.Abs(came-said) > .05+within*se {
			t.Errorf("bin %d is off by %.0f points", k+1, 100*(came-said))
		}
	}
	t.Logf("%d bins within 5 points; a week is off by %.1f points in the mean", near, 100*weighed/all)
	if weighed/all > farOff {
		t.Errorf("a week is off by %.1f points in the mean", 100*weighed/all)
	}
	return near
}

// owner is what a season costs in the test: an hour of work lost to another
// shop because the line is longer than customers wait, and an hour that waits
// in line for a week. Wages beyond the crew's are on top.
var owner = struct{ lost, waits, longest float64 }{lost: 80, waits: 4, longest: 3}

// season is a shop that works its true arrivals day by day, each week with the
// crew and the days that were decided on by then.
type season struct {
	trueShop
	hired capacity.Crew
	extra map[forecast.Date]float64 // hours of overtime by Monday
	open  []openVisit
	cost  float64
	did   map[string]int
}

// openVisit is a visit in the shop with its hours still to be worked.
type openVisit struct {
	visit
	left float64
}

// hands is the crew with those hired, and overtime of everybody as hands of
// their own, in a week.
func (s *season) hands(monday forecast.Date) capacity.Crew {
	crew := slices.Concat(s.crewOn(monday), s.hired)
	if h := s.extra[monday]; h > 0 {
		crew = append(crew, capacity.Technician{Name: "overtime", WeeklyHours: h, Productivity: 1, Skills: []string{"all"}, From: monday, Until: monday + 6})
	}
	return crew
}

// week works the week from monday on.
func (s *season) week(t *testing.T, monday forecast.Date) {
	t.Helper()
	floor, err := capacity.NewFloor(s.hands(monday), s.calendar, s.absences, s.kinds, monday, 7)
	if err != nil {
		t.Fatal(err)
	}
	usual := 0.0
	for _, h := range s.crew {
		usual += h.WeeklyHours * h.Productivity
	}
	for _, v := range s.visits {
		if v.in >= monday && v.in < monday+7 && v.ready != 0 {
			s.open = append(s.open, openVisit{v, v.clocked})
		}
	}
	tasks := make([]capacity.Task, len(s.open))
	for i, o := range s.open {
		tasks[i] = o.task(monday)
		tasks[i].Hours = o.left
	}
	run := capacity.Run{Longest: owner.longest * usual}
	run.Done(floor, tasks, -1, 7)
	s.cost += owner.lost*run.Lost() + owner.waits*run.Line()
	var open []openVisit
	for i, left := range run.Left() {
		if left > 0 {
			s.open[i].left = left
			open = append(open, s.open[i])
		}
	}
	s.open = open
}

// follow decides what falls due before the next Monday, on what was known.
func (s *season) follow(t *testing.T, monday forecast.Date) {
	t.Helper()
	p := s.plan(t, monday, reach, 200)
	p.Policy.LostCost, p.Policy.WaitCost, p.Policy.LostWeeks = owner.lost, owner.waits, owner.longest
	// The shop's own open work, as it worked it with the advice so far.
	p.Open = nil
	for _, v := range s.open {
		p.Open = append(p.Open, capacity.OpenJob{Kind: v.kind, DroppedOff: v.in, Quoted: v.quoted, Worked: v.clocked - v.left, Waiting: v.in+forecast.Date(max(0, v.parts)) > monday,
			Emergency: v.emergency, Deferrable: v.deferrable})
	}
	p.Crew = slices.Concat(p.Crew, s.hired)
	// Overtime agreed on already is capacity of its weeks.
	for m, h := range s.extra {
		if m >= monday {
			p.Crew = append(p.Crew, capacity.Technician{Name: "overtime", WeeklyHours: h, Productivity: 1, From: m, Until: m + 6, Skills: []string{"all"}})
		}
	}
	o, err := p.Outcome()
	if err != nil {
		t.Fatal(err)
	}
	all, _, err := capacity.Advise(p, o)
	if err != nil {
		t.Fatal(err)
	}
	wage := 0.0
	for _, h := range s.crew {
		wage += h.HourlyCost / float64(len(s.crew))
	}
	for _, a := range all {
		if a.DecideBy >= monday+7 || a.InsteadOf != "" {
			continue
		}
		switch a.Do {
		case capacity.Hire:
			s.hired = append(s.hired, capacity.Technician{Name: fmt.Sprintf("hire %d", len(s.hired)+1), WeeklyHours: 39, Productivity: .86, Skills: []string{"all"}, HourlyCost: wage, From: a.From - 28, Ramp: 4})
			s.did[a.Do]++
		case capacity.Overtime:
			weeks := float64(a.Until.Monday()-a.From.Monday())/7 + 1
			for m := a.From.Monday(); m <= a.Until; m += 7 {
				s.extra[m] += a.Hours / weeks
			}
			s.cost += *a.Cost
			s.did[a.Do]++
		case capacity.OpenSaturday:
			// Only those of the next three weeks are fixed; the rest is
			// looked at again.
			for d := a.From; d <= min(a.Until, monday+27); d += 7 {
				if _, set := s.calendar.Days[d]; !set {
					s.calendar.Days[d] = .5
					s.cost += *a.Cost / (float64(a.Until-a.From)/7 + 1)
					s.did[a.Do]++
				}
			}
		}
	}
}

// wages gives what hires were paid until a day.
func (s *season) wages(until forecast.Date) float64 {
	sum := 0.0
	for _, h := range s.hired {
		if h.From < until {
			sum += h.Cost(float64(until-h.From) / 7)
		}
	}
	return sum
}

// What following the advice costs beside doing nothing, on the true arrivals
// of invented shops' last season: from the first Monday of January on, each
// Monday's advice is followed as far as it falls due that week, on what was
// known that morning. Costs are the owner's above.
func TestFollowingTheAdvice(t *testing.T) {
	if *seasons == 0 {
		t.Skip("minutes; -seasons says how many")
	}
	// A crew that is about enough, and one that is a technician short of it.
	for name, hands := range map[string]int{"four technicians": 4, "three technicians": 3} {
		t.Run(name, func(t *testing.T) { followed(t, hands) })
	}
}

func followed(t *testing.T, hands int) {
	odd := 0
	if *oddOne {
		odd = 2026
	}
	var saved, share []float64
	for i := range *seasons {
		var runs [2]*season
		for k := range runs {
			s := invent(*first+i, odd)
			s.crew = s.crew[:hands:hands]
			runs[k] = &season{trueShop: s, extra: map[forecast.Date]float64{}, did: map[string]int{}}
		}
		end := runs[0].asOf.Monday() - 28 // later jobs are open still, and their hours not known
		start := forecast.NewDate(2026, 1, 5)
		for _, s := range runs {
			for _, v := range s.visits {
				if v.in < start && v.ready >= start {
					s.open = append(s.open, openVisit{v, v.clocked})
				}
			}
		}
		for monday := start; monday < end; monday += 7 {
			runs[1].follow(t, monday)
			for _, s := range runs {
				s.week(t, monday)
			}
		}
		nothing, advised := runs[0].cost, runs[1].cost+runs[1].wages(end)
		t.Logf("shop %d: $%.0f without the advice, $%.0f with it; %v", *first+i, nothing, advised, runs[1].did)
		saved = append(saved, nothing-advised)
		share = append(share, nothing)
	}
	mean, sd := stat.MeanStdDev(saved, nil)
	all := stat.Mean(share, nil)
	t.Logf("saved in the mean $%.0f a season of $%.0f, sd %.0f over %d shops", mean, all, sd, len(saved))
	if mean < -2*sd/math.Sqrt(float64(len(saved))) {
		t.Error("following the advice costs more than doing nothing")
	}
}
