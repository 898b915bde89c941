package capacity

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"freshet/forecast"
)

// Ten weeks that leave a crew of four short by half a technician, seen far
// enough ahead for either: Saturdays do it, and so does a hire.
func longShortage() Plan {
	return storyPlan(level(append(append(repeat(100, 20), repeat(165, 12)...), repeat(60, 8)...)...))
}

func TestAdviseEitherHireOrSaturdays(t *testing.T) {
	p := longShortage()
	p.Policy = DefaultPolicy()
	p.Policy.SaturdayCrew = 1
	all := advise(t, p)
	hire, sat := of(t, all, Hire), of(t, all, OpenSaturday)
	if hire == nil || sat == nil {
		t.Fatalf("want both ways named, have %+v", all)
	}
	first, other := sat, hire
	if *hire.Cost < *sat.Cost {
		first, other = hire, sat
	}
	if first.InsteadOf != "" || other.InsteadOf != first.Do {
		t.Errorf("%s costs %.0f and is instead of %q, %s costs %.0f and is instead of %q", first.Do, *first.Cost, first.InsteadOf, other.Do, *other.Cost, other.InsteadOf)
	}
	says(t, first, "Either this or", "not both", "less")
	says(t, other, "Instead of", "not on top")

	// A dear search turns the choice around, or leaves it.
	p.Policy.HireCost = 1e6
	if hire := of(t, advise(t, p), Hire); hire == nil || hire.InsteadOf != OpenSaturday || *hire.Cost < 1e6 {
		t.Errorf("a hire for a million: %+v", hire)
	}
	// Where nobody gave a wage, hours decide and no cost is said.
	p.Policy.HireCost = 0
	for i := range p.Crew {
		p.Crew[i].HourlyCost = 0
	}
	for _, a := range advise(t, p) {
		if a.Cost != nil || strings.Contains(a.Why, "$") {
			t.Errorf("a cost without a wage: %+v", a)
		}
	}
}

// What one measure covers, the next isn't advised for.
func TestAdviceIsJudgedOnWhatIsAdvisedAlready(t *testing.T) {
	p := storyPlan(level(append(append(repeat(130, 30), repeat(170, 8)...), repeat(80, 4)...)...))
	all := advise(t, p)
	var hands int
	for _, a := range all {
		if (a.Do == Hire || a.Do == OpenSaturday) && a.InsteadOf == "" {
			hands++
		}
	}
	if hands != 1 {
		t.Errorf("want one way to cover one shortage, have %+v", all)
	}
	// Too much for a hire alone: Saturdays come on top, and say so.
	p = storyPlan(level(append(append(repeat(100, 20), repeat(215, 12)...), repeat(60, 8)...)...))
	all = advise(t, p)
	hire, sat := of(t, all, Hire), of(t, all, OpenSaturday)
	if hire == nil || sat == nil {
		t.Fatalf("want both, have %+v", all)
	}
	says(t, hire, "One alone isn't enough")
	says(t, sat, "on top of one")
	if sat.InsteadOf != "" || hire.InsteadOf != "" {
		t.Error("both are needed, none is instead of the other")
	}
}

func TestSmallAdviceIsLeftOut(t *testing.T) {
	p := storyPlan(level(append([]float64{110, 215, 150}, repeat(70, 10)...)...))
	p.Policy = DefaultPolicy()
	p.Policy.WorthHours = 13 // the overtime is 12.8 h, see TestAdviseOvertime
	if ot := of(t, advise(t, p), Overtime); ot != nil {
		t.Errorf("advised %+v", ot)
	}
}

func TestStress(t *testing.T) {
	p := storyPlan(level(append(append(repeat(100, 20), repeat(165, 12)...), repeat(60, 8)...)...))
	all := advise(t, p)
	if err := Stress(p, all); err != nil {
		t.Fatal(err)
	}
	hire := of(t, all, Hire)
	if hire == nil {
		t.Fatalf("no hire in %+v", all)
	}
	if n := len(hire.Otherwise); n != 4 {
		t.Fatalf("want 4 cases, have %d", n)
	}
	late, weak, strong, fewer := hire.Otherwise[0], hire.Otherwise[1], hire.Otherwise[2], hire.Otherwise[3]
	if !late.Stands || late.DecideBy <= hire.DecideBy {
		t.Errorf("a late season's hire can wait: %+v beside %v", late, hire.DecideBy)
	}
	if weak.Stands { // 165 h less 15 % hardly fit into 136 h
		t.Errorf("a weak season needs no hire: %+v", weak)
	}
	if !strong.Stands || strong.DecideBy > hire.DecideBy {
		t.Errorf("a strong season's hire is needed no later: %+v beside %v", strong, hire.DecideBy)
	}
	if !fewer.Stands || fewer.If != "1 technician fewer from January 19, 2026" {
		t.Errorf("have %+v", fewer)
	}
}

func TestWhatIfString(t *testing.T) {
	w := WhatIf{AddTech: 2, AddTechFrom: monday, AddHours: -10, DemandPercent: 7.5, SeasonShiftDays: -1, Saturdays: true}
	const want = "2 technicians more from January 5, 2026, 10 hours on jobs a week fewer, 7.5 % more work, the season 1 day earlier, open on Saturdays"
	if have := w.String(); have != want {
		t.Errorf("have %q", have)
	}
	if have := (WhatIf{}).String(); have != "" {
		t.Errorf("no change is %q", have)
	}
}

// A week with two days closed brings three fifths and more of the season; what
// it brings less stays on its date when the season comes later.
func TestSeasonShiftCountsAHolidayOnce(t *testing.T) {
	p := storyPlan(onePath(100, 110, 120, 54, 140, 150, 160, 170))
	p.Calendar.Days = map[forecast.Date]float64{monday + 24: 0, monday + 25: 0}
	have := apply(t, WhatIf{SeasonShiftDays: 7}, p).Arriving().Values
	// The season of week 4 is 130, halfway; a week later it stands at 120.
	want := []float64{100, 100, 110, 54 * 120. / 130, 130, 140, 150, 160}
	for j := range want {
		near(t, "hours", have[j], want[j], 1e-9)
	}
}

// kinds puts a share of a plan's work into cooling, that Ann alone can do.
func oneCertified(cooling float64) Plan {
	p := storyPlan(level(repeat(120, 20)...))
	for i := range p.Crew[1:] {
		p.Crew[i+1].Skills = []string{" Chassis"}
	}
	whole := p.Arriving()
	part := func(share float64) forecast.Paths { return scaled(whole, repeat(share, whole.H)) }
	p.Kinds = []Demand{demand("chassis", 1, part(1-cooling/120)), demand("cooling", 1, part(cooling/120))}
	p.Habits = plainHabits(2)
	for range 10 {
		p.Open = append(p.Open, OpenJob{Kind: 1, DroppedOff: monday - 3, Quoted: 1})
	}
	return p
}

func TestSkills(t *testing.T) {
	p := oneCertified(40)
	skills := outcome(t, p).Skills
	if len(skills) != 1 || strings.Join(skills[0].Kinds, ",") != "cooling" || strings.Join(skills[0].Who, ",") != "Ann" {
		t.Fatalf("have %+v", skills)
	}
	near(t, "hours of who can do it", skills[0].Available[0], 34, 1e-9)
	// Ann has 34 h for 50, and works on the rest of the line as well.
	if left := skills[0].Backlog.Dist(0).Mean(); left < 16 || left > 40 {
		t.Errorf("%v h are left after a week", left)
	}
	near(t, "chance short", skills[0].ChanceShort[0], 1, 0)

	p.Crew[0].Skills = []string{"chassis"}
	if w := p.Warnings(); len(w) != 1 || !strings.Contains(w[0].Error(), "nobody in the crew has cooling") {
		t.Errorf("have %v", w)
	}
	if skills := outcome(t, p).Skills; len(skills) != 0 {
		t.Errorf("a skill that nobody has: %+v", skills)
	}
}

func TestAdviseSubcontract(t *testing.T) {
	p := oneCertified(40)
	p.Policy = DefaultPolicy()
	p.Policy.SentCost = 90
	sent := of(t, advise(t, p), Subcontract)
	if sent == nil {
		t.Fatal("nothing sent out")
	}
	if sent.Kind != "cooling" || sent.From != monday+14 {
		t.Errorf("%s from %v", sent.Kind, sent.From)
	}
	// The least share in tenths: a tenth less would not do.
	share := sent.Hours / (18 * 40)
	near(t, "tenths", 10*share, math.Round(10*share), 1e-9)
	near(t, "cost", *sent.Cost, 90*sent.Hours, 1e-9)
	chance := func(share float64) float64 {
		q := p.sent(1, run{2, 19}, share)
		return outcome(t, q).Skills[0].ChanceOver(2)
	}
	if limit := p.Policy.LimitChance; chance(share) >= limit || chance(share-.1) < limit {
		t.Errorf("%.1f sent out leaves a chance of %v, a tenth less %v", share, chance(share), chance(share-.1))
	}
	says(t, sent, "Only Ann can do cooling", "learn it")

	p.Crew[1].Skills = []string{"all"} // a second one who can
	if sent := of(t, advise(t, p), Subcontract); sent != nil {
		t.Errorf("sent out in vain: %+v", sent)
	}
}

// With the owner's costs in hand, a measure that costs more than it saves
// isn't advised, and with dear losses the same one is.
func TestAdviceIsWeighedAgainstTheOwnersCosts(t *testing.T) {
	p := storyPlan(level(append(append(repeat(100, 20), repeat(165, 12)...), repeat(60, 8)...)...))
	p.Policy = DefaultPolicy()
	says(t, of(t, advise(t, p), Hire), "Whether it pays depends")
	p.Policy.WaitCost = .01
	for _, a := range advise(t, p) {
		if a.Cost != nil {
			t.Errorf("%s for $%.0f saves next to nothing", a.Do, *a.Cost)
		}
	}
	p.Policy.WaitCost, p.Policy.LostCost = 50, 1000
	hire := of(t, advise(t, p), Hire)
	if hire == nil || strings.Contains(hire.Why, "depends") {
		t.Errorf("have %+v", hire)
	}
	// By hand, in jobs of half an hour on the only path: 3 × 136 h stay in line
	// and the rest goes elsewhere; 2 and 1 times 136 h wait at weeks' ends.
	q := storyPlan(onePath(4*136+10, 0, 0, 0))
	a := &adviser{Policy: Policy{WaitCost: 2, LostCost: 100, LostWeeks: 3}}
	near(t, "loss", must[float64](t)(a.loss(q)), 100*146+2*(2+1)*136, 101)
}

func designPlan(b testing.TB) Plan {
	_, d := storyRow(b, "story1_peak_usual_4")
	d.WeeklyMean = d.WeeklyMean[:13]
	p := storyPlan(d.simulate(1000, 1))
	p.Calendar = DefaultCalendar()
	p.Crew[0].Skills, p.Crew[1].Skills = []string{"roof", "gas"}, []string{"roof", "cooling"}
	p.Kinds, p.Habits = nil, plainHabits(3)
	for i, kind := range []string{"roof", "gas", "cooling"} {
		part := d
		part.WeeklyMean = nil
		for _, m := range d.WeeklyMean {
			part.WeeklyMean = append(part.WeeklyMean, m/3)
		}
		p.Kinds = append(p.Kinds, demand(kind, d.HoursMean, part.simulate(1000, uint64(2+i))))
		p.Habits.Hours[i] = []float64{1, 2, 3, 5, 8, 13}
		p.Habits.Growth[i], p.Habits.Wait[i] = []float64{.8, 1, 1, 1.5, 2}, []float64{3, 7, 14, 30}
		p.Habits.Needs[i], p.Habits.Rush[i], p.Habits.Later[i] = .3, .1, .1
	}
	for i := range 60 {
		p.Open = append(p.Open, OpenJob{Kind: i % 3, DroppedOff: monday - forecast.Date(i), Quoted: 2 + float64(i%9), Waiting: i%5 == 0, Deferrable: i%4 == 0})
	}
	return p
}

// BenchmarkPlan is the plan that the design asks for: three skills, 60 open
// jobs, 13 weeks, 1,000 paths.
func BenchmarkPlan(b *testing.B) {
	p := designPlan(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := p.Outcome(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAdvised is the same plan with its advice, tried in other futures.
func BenchmarkAdvised(b *testing.B) {
	p := designPlan(b)
	b.ReportAllocs()
	for b.Loop() {
		o, err := p.Outcome()
		if err != nil {
			b.Fatal(err)
		}
		all, _, err := Advise(p, o)
		if err == nil {
			err = Stress(p, all)
		}
		if err != nil {
			b.Fatal(err)
		}
	}
}

// A week that can be spared as things are can't with 15 % more work, and the
// other way round.
func TestStressOfTimeOff(t *testing.T) {
	for _, c := range []struct {
		hours        float64
		do           string
		weak, strong bool // whether the word stands
	}{
		{80, ApproveTimeOff, true, true},  // 102 h are left with one off
		{90, ApproveTimeOff, true, false}, // and 15 % more is 104 h, a tenth of it more or less
		{105, HoldTimeOff, false, true},   // 89 h fit
		{130, HoldTimeOff, true, true},    // 110 h don't
	} {
		p := storyPlan(level(repeat(c.hours, 8)...))
		p.Requested = []Absence{{"Di", monday + 28, monday + 32}}
		all := must[[]Advice](t)(TimeOff(p, outcome(t, p)))
		if len(all) != 1 || all[0].Do != c.do {
			t.Errorf("at %v h: want %s alone, have %+v", c.hours, c.do, all)
			continue
		}
		if err := Stress(p, all); err != nil {
			t.Fatal(err)
		}
		if o := all[0].Otherwise; o[1].Stands != c.weak || o[2].Stands != c.strong {
			t.Errorf("at %v h: %+v", c.hours, o)
		}
	}
	p := storyPlan(level(repeat(85, 8)...))
	if all := must[[]Advice](t)(TimeOff(p, outcome(t, p))); all != nil {
		t.Errorf("nobody asked, and have %+v", all)
	}
}

// A change of demand changes each kind by as much as the whole.
func TestWhatIfMovesKindsAlong(t *testing.T) {
	p := oneCertified(40)
	q := apply(t, WhatIf{DemandPercent: 10, SeasonShiftDays: 9}, p)
	for k, v := range q.Arriving().Values {
		near(t, "sum of kinds", q.Kinds[0].Hours.Values[k]+q.Kinds[1].Hours.Values[k], v, 1e-9)
	}
	near(t, "cooling of the plan itself", p.Kinds[1].Hours.Dist(0).Mean(), 40, 1e-9)
}

// A crew of half the size that the work needs is over the limit with and
// without one more, and told that one isn't enough.
func TestAdviseHireOfMany(t *testing.T) {
	hire := of(t, advise(t, storyPlan(level(repeat(272, 40)...))), Hire)
	if hire == nil {
		t.Fatal("no hire advised")
	}
	says(t, hire, "more than one is needed")
}

// Plans that share their draws are advised as each would be by itself.
func TestSharingDraws(t *testing.T) {
	p := designPlan(t).Thinned(2 * tryPaths)
	p.Requested = []Absence{{Name: p.Crew[0].Name, From: p.From + 70, Until: p.From + 76}}
	o := outcome(t, p)
	advised := func(p Plan) (all []Advice) {
		t.Helper()
		off := p
		off.Requested, off.Absences = nil, p.Requested
		advised := func(p Plan, o Outcome) ([]Advice, error) {
			all, _, err := Advise(p, o)
			return all, err
		}
		for _, rule := range []func(Plan, Outcome) ([]Advice, error){TimeOff, advised} {
			some, err := rule(p, o)
			if err == nil {
				err = Stress(p, some)
			}
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, some...)
			p = off
		}
		return all
	}
	shared := p.SharingDraws()
	if want, have := advised(p), advised(shared); len(want) < 2 || !reflect.DeepEqual(have, want) {
		t.Errorf("want %+v, have %+v", want, have)
	}
	if n := len(shared.shared.by); n != 1+len(p.Cases()) {
		t.Errorf("want the work and %d cases of it drawn once each, have %d", len(p.Cases()), n)
	}
}

// A crew of whom one has left can't be tried without one more: the other cases
// are, all the same.
func TestStressThatLeavesNobody(t *testing.T) {
	p := storyPlan(level(append(repeat(30, 8), repeat(45, 12)...)...))
	p.Crew = p.Crew[:2]
	p.Crew[1].Until = monday - 1
	p.Policy = DefaultPolicy()
	p.Policy.NoticeWeeks = 0
	all := advise(t, p)
	if len(all) == 0 {
		t.Fatal("nothing advised")
	}
	if err := Stress(p, all); err != nil {
		t.Error(err)
	}
	if n := len(all[0].Otherwise); n != 3 {
		t.Errorf("want 3 cases, have %d", n)
	}
}

// In a shop of one bay one more takes others' turns: that is no hire to advise,
// even where it helps the line of a kind.
func TestNoHireWithoutABay(t *testing.T) {
	p := oneCertified(24)
	p.Calendar.Bays = 1
	p.Kinds[0].Hours, p.Kinds[0].Jobs = scaled(p.Kinds[0].Hours, repeat(.1, 20)), scaled(p.Kinds[0].Jobs, repeat(.1, 20))
	p.Crew = p.Crew[:2]
	p.Policy = DefaultPolicy()
	p.Policy.FillWeeks, p.Policy.NoticeWeeks = 0, 0
	if hire := of(t, advise(t, p), Hire); hire != nil {
		t.Errorf("have %+v", hire)
	}
}
