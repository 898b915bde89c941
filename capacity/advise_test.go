package capacity

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"freshet/forecast"
)

func advise(t testing.TB, p Plan) []Advice {
	t.Helper()
	all, _, err := Advise(p, outcome(t, p))
	if err != nil {
		t.Fatal(err)
	}
	for i, a := range all {
		switch {
		case a.DecideBy < p.From:
			t.Errorf("%s is to be decided on %v, before today", a.Do, a.DecideBy)
		case i > 0 && a.DecideBy < all[i-1].DecideBy:
			t.Errorf("%s comes after a later decision", a.Do)
		case a.From > a.Until || !(a.Hours > 0) || math.IsInf(a.Hours, 0):
			t.Errorf("%s: %v h from %v to %v", a.Do, a.Hours, a.From, a.Until)
		case !strings.HasSuffix(a.Why, ".") || !strings.Contains(a.Why, " h ") && !strings.Contains(a.Why, " %"):
			t.Errorf("%s: why %q", a.Do, a.Why)
		}
	}
	return all
}

// of gives the only advice to do so, nil if there is none.
func of(t testing.TB, all []Advice, do string) *Advice {
	t.Helper()
	var found *Advice
	for i, a := range all {
		if a.Do == do {
			if found != nil {
				t.Errorf("more than one advice to %s", do)
			}
			found = &all[i]
		}
	}
	return found
}

func says(t testing.TB, a *Advice, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(a.Why, w) {
			t.Errorf("%s: want %q in %q", a.Do, w, a.Why)
		}
	}
}

// level gives n sure paths of these hours, spread by ±10 % from path to path.
func level(hours ...float64) forecast.Paths {
	const n = 101
	p := forecast.NewPaths(monday, forecast.Week, len(hours), n)
	for k := range p.Values {
		p.Values[k] = hours[k%p.H] * (.9 + .2*float64(k/p.H)/(n-1))
	}
	return p
}

func repeat(h float64, n int) []float64 {
	out := make([]float64, n)
	for j := range out {
		out[j] = h
	}
	return out
}

// Story 1: seen sixteen quiet weeks ahead, the season calls for a hire in time;
// seen from its start, the day to post the job has passed.
func TestAdviseHire(t *testing.T) {
	if testing.Short() {
		t.Skip("many futures: minutes under the race detector")
	}
	_, d := storyRow(t, "story1_peak_usual_4")
	season := d.WeeklyMean
	d.WeeklyMean = append(repeat(12, 16), season...)
	p := storyPlan(d.simulate(2000, 1))
	hire := of(t, advise(t, p), Hire)
	if hire == nil {
		t.Fatal("no hire advised")
	}
	if lead := hire.From - hire.DecideBy; lead != 7*14 { // 8 + 2 + 4 weeks, methods of the project, section 6
		t.Errorf("want 14 weeks from post to need, have %d days", lead)
	}
	says(t, hire, "Post the job by", "If nothing is done")
	weeks := float64(hire.Until+1-hire.From) / 7
	near(t, "hours", hire.Hours, 34*(weeks+1.5+4*2.5/28), 1e-6) // in the ramp 0, 7, 14, 21 of 28 days are over on Mondays, and 2.5 more on Wednesdays at noon
	near(t, "cost", *hire.Cost, 1254.4*(weeks+4), 1e-6)         // a week of story1_costs
	// The need is the last week that keeps the chance in bounds.
	chance := func(from forecast.Date) float64 {
		q := p.Thinned(tryPaths)
		(&adviser{Policy: DefaultPolicy()}).hired(from)(&q)
		return must[Outcome](t)(q.Outcome()).ChanceOver(2)
	}
	if limit := DefaultPolicy().LimitChance; chance(hire.From) >= limit || chance(hire.From+7) < limit {
		t.Errorf("chance %v with a hire by %v, %v a week later", chance(hire.From), hire.From, chance(hire.From+7))
	}

	d.WeeklyMean = season
	p = storyPlan(d.simulate(2000, 1))
	hire = of(t, advise(t, p), Hire)
	if hire == nil || hire.DecideBy != monday {
		t.Fatalf("want a hire to be decided today, have %+v", hire)
	}
	if hire.From != monday+7*14 {
		t.Errorf("at full speed by %v, sooner than a search begun today", hire.From)
	}
	says(t, hire, "has passed", "have to bridge")
	// With five technicians the chance is 3 % (story1_over2_usual_5).
	if hire := of(t, advise(t, apply(t, WhatIf{AddTech: 1}, p)), Hire); hire != nil {
		t.Errorf("a sixth technician advised: %+v", hire)
	}
}

func TestAdviseHireTooLateForTheRush(t *testing.T) {
	p := storyPlan(level(append([]float64{300, 300}, repeat(100, 10)...)...))
	if hire := of(t, advise(t, p), Hire); hire != nil {
		t.Errorf("advised a hire who comes after the rush: %+v", hire)
	}
}

// Two weeks that leave more than the crew can carry, then room to work it off.
func TestAdviseOvertime(t *testing.T) {
	p := storyPlan(level(append([]float64{110, 215, 150}, repeat(70, 10)...)...))
	ot := of(t, advise(t, p), Overtime)
	if ot == nil {
		t.Fatal("no overtime advised")
	}
	if ot.From != monday+7 || ot.Until != monday+20 || ot.DecideBy != monday {
		t.Errorf("from %v to %v, decided by %v", ot.From, ot.Until, ot.DecideBy)
	}
	// A third of the paths, those below (.9 + .2/3) of the 365 h that arrive in
	// both weeks, miss less; 272 h are worked and half a week of 136 h is carried.
	near(t, "hours", ot.Hours, (.9+.2/3)*365-272-68, 1e-6)
	near(t, "cost", *ot.Cost, ot.Hours/.85*1.5*31.36, 1e-6)
	says(t, ot, "2 weeks from January 12", "at the end of the week of January 19 instead of")

	// Nobody passes the cap: 50 h leave 10 of paid time, 8.5 on jobs, each.
	p = storyPlan(level(append([]float64{110, 300, 136}, repeat(0, 10)...)...))
	if ot = of(t, advise(t, p), Overtime); ot == nil {
		t.Fatal("no overtime advised")
	}
	near(t, "capped hours", ot.Hours, 4*8.5*float64((ot.Until+1-ot.From)/7), 1e-6)
	if of(t, advise(t, p), OpenSaturday) != nil {
		t.Error("Saturdays opened for a short run")
	}
	// A plan that carries any backlog needs none.
	p.Policy = DefaultPolicy()
	p.Policy.CarryWeeks = 10
	if ot := of(t, advise(t, p), Overtime); ot != nil {
		t.Errorf("overtime advised: %+v", ot)
	}
}

// Before days on which the shop is shut the line may be empty: hours booked then
// would find no work, and those that do find some are advised.
func TestOvertimeInVain(t *testing.T) {
	for arriving, advised := range map[float64]bool{60: false, 110: true} {
		p := storyPlan(level(append([]float64{110, arriving, 100}, repeat(60, 10)...)...))
		p.Calendar.Days = map[forecast.Date]float64{}
		for d := monday + 10; d < monday+21; d++ { // from the Thursday of the second week on
			p.Calendar.Days[d] = 0
		}
		if ot := of(t, advise(t, p), Overtime); (ot != nil) != advised {
			t.Errorf("%v h arriving: want overtime %v, have %+v", arriving, advised, ot)
		}
	}
}

func TestAdviseSaturdays(t *testing.T) {
	p := storyPlan(level(append(append(repeat(130, 4), repeat(170, 6)...), repeat(80, 8)...)...))
	all := advise(t, p)
	sat := of(t, all, OpenSaturday)
	if sat == nil {
		t.Fatal("no Saturday advised")
	}
	if sat.From.Weekday() != 6 || sat.Until.Weekday() != 6 {
		t.Errorf("from %v to %v", sat.From, sat.Until)
	}
	n := float64((sat.Until-sat.From)/7 + 1)
	near(t, "hours", sat.Hours, n*136/5*.5, 1e-6) // half the crew
	near(t, "cost", *sat.Cost, n*160/5*.5*1.5*31.36, 1e-6)
	says(t, sat, "50 % of the crew in turn", "If nothing is done")
	if of(t, all, Overtime) != nil {
		t.Error("overtime for a run beyond three weeks")
	}
	p.Calendar.Week[6] = 1
	if sat := of(t, advise(t, p), OpenSaturday); sat != nil {
		t.Errorf("an open Saturday is opened: %+v", sat)
	}
}

func TestAdviseMoveWork(t *testing.T) {
	arriving := level(append([]float64{150, 150, 150}, repeat(60, 9)...)...)
	p := storyPlan(arriving)
	p.Open = canWait(60, inShop(136))
	move := of(t, advise(t, p), MoveWork)
	if move == nil {
		t.Fatal("no move advised")
	}
	near(t, "hours", move.Hours, 60, 1e-9)
	if move.From <= monday+14 || move.DecideBy != monday {
		t.Errorf("moved to %v, decided by %v", move.From, move.DecideBy)
	}
	says(t, move, "60 h of open work that can wait")

	p.Open = inShop(136)
	if move := of(t, advise(t, p), MoveWork); move != nil {
		t.Errorf("moved what can't wait: %+v", move)
	}
	// Work that is done before the rush anyway doesn't lower its peak.
	p = storyPlan(level(append([]float64{20, 20, 300}, repeat(60, 9)...)...))
	p.Open = canWait(60, inShop(60))
	if move := of(t, advise(t, p), MoveWork); move != nil {
		t.Errorf("moved in vain: %+v", move)
	}
	// No later room, no move.
	p = storyPlan(level(repeat(150, 12)...))
	p.Open = canWait(60, inShop(136))
	if move := of(t, advise(t, p), MoveWork); move != nil {
		t.Errorf("moved into weeks without room: %+v", move)
	}
}

// Story 8: 118 ± 16 h against 129.2 h, 96.9 with one off (vacation_short).
func TestAdviseTimeOff(t *testing.T) {
	p := storyPlan(normalPaths(118, 16, 1000))
	for i := range p.Crew {
		p.Crew[i].Productivity = 129.2 / 160
	}
	p.Requested = []Absence{{"Di", monday, monday + 6}}
	hold := of(t, advise(t, p), HoldTimeOff)
	if hold == nil {
		t.Fatal("not held")
	}
	near(t, "hours off", hold.Hours, 32.3, 1e-9)
	says(t, hold, "91 %", "24 %", "22 h are missing", "plan overtime")

	p = storyPlan(level(append(repeat(130, 4), repeat(60, 4)...)...))
	p.Requested = []Absence{{"Di", monday + 7, monday + 11}}
	says(t, of(t, advise(t, p), HoldTimeOff), "offer February 2 to March 1 instead")
	p.Requested = []Absence{{"Di", monday + 28, monday + 32}}
	approve := of(t, advise(t, p), ApproveTimeOff)
	if approve == nil || approve.DecideBy != monday {
		t.Fatalf("want approval today, have %+v", approve)
	}
	near(t, "hours off", approve.Hours, 34, 1e-9)

	p.Requested = []Absence{{"Di", monday + 700, monday + 704}, {"Nobody", monday, monday + 4}}
	if all := advise(t, p); of(t, all, HoldTimeOff) != nil || of(t, all, ApproveTimeOff) != nil {
		t.Errorf("advice on absences that the plan can't judge: %+v", all)
	}
	p.Requested = nil
	if spare := of(t, advise(t, p), ApproveTimeOff); spare == nil || spare.From != monday+28 || spare.Until != monday+55 {
		t.Errorf("want the last four weeks to spare one, have %+v", spare)
	}
}

// Where the week is as likely short with everybody in, nobody's time off is
// held for it, nor does that turn where there is more work; where the chance
// can't rise any more, the hours missing count.
func TestAdviseTimeOffThatMakesNoDifference(t *testing.T) {
	p := storyPlan(normalPaths(106, 16, 1000))
	p.Crew[3].WeeklyHours = 1.5 // of Di, so that the crew has 103.3 h
	p.Requested = []Absence{{"Di", monday, monday + 6}}
	all := advise(t, p)
	approve := of(t, all, ApproveTimeOff)
	if approve == nil || of(t, all, HoldTimeOff) != nil {
		t.Fatalf("have %+v", all)
	}
	if says(t, approve, "makes next to no difference"); approve.Who != "Di" {
		t.Errorf("have %q", approve.Who)
	}
	if err := Stress(p, all); err != nil {
		t.Fatal(err)
	}
	for _, o := range of(t, all, ApproveTimeOff).Otherwise {
		if !o.Stands && o.If == "15 % more work" {
			t.Errorf("have %+v", o)
		}
	}
	p = storyPlan(normalPaths(200, 16, 1000))
	p.Requested = []Absence{{"Di", monday, monday + 6}}
	says(t, of(t, advise(t, p), HoldTimeOff), "is over 99 %, against over 99 % with everybody in", "98 h are missing")
}

// Hours aren't likely to be short in the week off, but the backlog of 1.95
// weeks then passes the limit of 2.
func TestAdviseTimeOffAtTheLimit(t *testing.T) {
	p := storyPlan(level(repeat(110, 6)...))
	p.Open = inShop(1.95*136 + 26)
	p.Requested = []Absence{{"Di", monday, monday + 4}}
	p.Policy = DefaultPolicy()
	p.Policy.LimitChance = 1
	hold := of(t, advise(t, p), HoldTimeOff)
	if hold == nil {
		t.Fatal("not held")
	}
	says(t, hold, "passes 2 weeks of work rises from")
	p.Open = nil
	if hold := of(t, advise(t, p), HoldTimeOff); hold != nil {
		t.Errorf("held without a backlog: %+v", hold)
	}
}

func TestSpareWeeksLeaveTimeToSettle(t *testing.T) {
	spare := of(t, advise(t, storyPlan(level(repeat(60, 8)...))), ApproveTimeOff)
	if spare == nil || spare.From != monday+7*4 { // DefaultPolicy().TimeOffAhead
		t.Errorf("want time off from the fifth week on, have %+v", spare)
	}
}

func TestAdviseLull(t *testing.T) {
	p := storyPlan(level(append(repeat(125, 5), 70, 70, 125)...), 3)
	lull := of(t, advise(t, p), FillLull)
	if lull == nil || lull.From != monday+35 || lull.Until != monday+48 || lull.DecideBy != monday+14 {
		t.Fatalf("have %+v", lull)
	}
	near(t, "free hours", lull.Hours, 2*(136-70*1.06), 1e-6) // the 80 % quantile of ±10 % is 1.06
	says(t, lull, "55 %")
	if lull := of(t, advise(t, storyPlan(level(repeat(125, 8)...))), FillLull); lull != nil {
		t.Errorf("a lull at 92%%: %+v", lull)
	}
}

func TestAdviseLeavesThePlanAlone(t *testing.T) {
	plan := func() Plan {
		p := storyPlan(level(append(append(repeat(150, 3), repeat(60, 4)...), repeat(170, 6)...)...))
		p.Open = canWait(60, inShop(136))
		p.Absences = append(make([]Absence, 0, 8), Absence{"Ann", monday + 7, monday + 11})
		p.Requested = []Absence{{"Bo", monday + 14, monday + 18}}
		return p
	}
	p := plan()
	advise(t, p)
	if !reflect.DeepEqual(p, plan()) || p.Absences[:8][1] != (Absence{}) {
		t.Error("Advise changed the plan")
	}
}

// Two weeks of work left at the end take two weeks with the crew of now, and
// four if half of it leaves when the paths end.
func TestPlanKnowsWhoLeavesAfterThePaths(t *testing.T) {
	p := storyPlan(onePath(136))
	p.Open = inShop(272)
	near(t, "weeks of work", must[Outcome](t)(p.Outcome()).Peak().Mean(), 2, 1e-9)
	p.Crew[0].Until, p.Crew[1].Until = monday+6, monday+6
	near(t, "weeks of work for two", must[Outcome](t)(p.Outcome()).Peak().Mean(), 4, 1e-9)
}

func TestPlanErrorsAndWarnings(t *testing.T) {
	p := storyPlan(onePath(100))
	p.Policy = DefaultPolicy()
	p.Policy.OvertimePremium = 0
	if _, _, err := Advise(p, Outcome{}); err == nil || !strings.Contains(err.Error(), "1 regular hour") {
		t.Errorf("have %v", err)
	}
	p.Policy = DefaultPolicy()
	p.Policy.CarryWeeks = math.NaN()
	if _, err := p.Outcome(); err == nil || !strings.Contains(err.Error(), "weeks of work in line that are fine") {
		t.Errorf("have %v", err)
	}
	p.Policy = Policy{}
	p.Absences = []Absence{{"Ann", monday, monday - 1}}
	if _, err := p.Outcome(); err == nil || !strings.Contains(err.Error(), "Ann") {
		t.Errorf("have %v", err)
	}
	p.Absences = []Absence{{"Ed", monday, monday}}
	p.Crew[0].WeeklyHours = 61
	p.Open = []OpenJob{{Quoted: 2, Worked: 3}, {Worked: 1}, {Quoted: 2, Worked: 2}}
	if w := p.Warnings(); len(w) != 3 {
		t.Errorf("want 3 warnings, have %v", w)
	}
}

func BenchmarkAdvise(b *testing.B) {
	_, d := storyRow(b, "story1_peak_usual_4")
	d.WeeklyMean = append(repeat(12, 2), d.WeeklyMean...)
	p := storyPlan(d.simulate(1000, 1))
	p.Calendar = DefaultCalendar()
	b.ReportAllocs()
	for b.Loop() {
		o, err := p.Outcome()
		if err == nil {
			_, _, err = Advise(p, o)
		}
		if err != nil {
			b.Fatal(err)
		}
	}
}

// Four weeks of more work than three of the crew's four technicians do, four of
// less: the latter can spare one, at the hours that are then gone.
func TestSpare(t *testing.T) {
	p := storyPlan(level(append(repeat(130, 4), repeat(60, 4)...)...))
	_, all, err := Advise(p, outcome(t, p))
	if err != nil {
		t.Fatal(err)
	}
	for j, w := range all {
		if w.Monday != monday+forecast.Date(7*j) || w.Spares != (j >= 4) || (w.Chance < .5) != (j >= 4) {
			t.Errorf("week %d: have %+v", j, w)
		}
		near(t, "hours gone", w.Hours, 34, 1e-9)
	}
}

// An owner for whom any advice is worth a word gets none to move work where
// there is none to move, nor to book no hours.
func TestAdviseWhereAnythingIsWorthAWord(t *testing.T) {
	p := storyPlan(level(append(repeat(150, 2), repeat(100, 8)...)...))
	p.Policy = DefaultPolicy()
	p.Policy.WorthHours, p.Policy.OvertimeHours = 0, 40
	// One job is done but for being said so.
	p.Open = append(inShop(100), OpenJob{DroppedOff: monday - 20, Quoted: 1, Worked: 5, Deferrable: true})
	for d := monday + 5; d < monday+70; d += 7 { // nor to open Saturdays on which all are away
		for _, tech := range p.Crew {
			p.Absences = append(p.Absences, Absence{tech.Name, d, d})
		}
	}
	p.Policy.SaturdayRun, p.Policy.SaturdayAhead = 1, 0
	all := advise(t, p)
	if of(t, all, MoveWork) != nil || of(t, all, Overtime) != nil || of(t, all, OpenSaturday) != nil {
		t.Errorf("have %+v", all)
	}
}

// Work that a customer brings back later anyway isn't moved again, least of all
// to an earlier day.
func TestAdviseMoveWorkThatIsPutOffAlready(t *testing.T) {
	p := storyPlan(level(append([]float64{150, 150, 150}, repeat(60, 9)...)...))
	p.Open = canWait(120, inShop(196))
	for i := range p.Open[:120] {
		p.Open[i].NotBefore = monday + 77
	}
	move := of(t, advise(t, p), MoveWork)
	if move == nil {
		t.Fatal("no move advised")
	}
	near(t, "hours", move.Hours, 60, 1e-9)
}

// What a plan can't be worked off with is an error, not a panic.
func TestPlanOfWorkThatCannotBe(t *testing.T) {
	for words, change := range map[string]func(*Plan){
		"dropped off": func(p *Plan) { p.Open = []OpenJob{{DroppedOff: monday + 400, Quoted: 1}} },
		"above 0":     func(p *Plan) { p.Habits.Hours[0] = []float64{0, 1} },
	} {
		p := storyPlan(level(repeat(100, 8)...))
		change(&p)
		if _, err := p.Outcome(); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("want %q, have %v", words, err)
		}
	}
}
