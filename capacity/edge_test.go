package capacity

import (
	"fmt"
	"strings"
	"testing"

	"freshet/forecast"
)

// An owner for whom any advice is worth a word gets none to move work where
// there is none to move, nor to book no hours.
func TestAdviseWhereAnythingIsWorthAWord(t *testing.T) {
	p := storyPlan(level(append(repeat(150, 2), repeat(100, 8)...)...))
	p.Policy = DefaultPolicy()
	p.Policy.WorthHours, p.Policy.OvertimeHours = 0, 40
	p.Open = inShop(100)
	all := advise(t, p)
	if of(t, all, MoveWork) != nil || of(t, all, Overtime) != nil {
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

// A hire who does everything adds to those who do what nobody lists, and
// doesn't take it over.
func TestHireSharesWhatEverybodyDoes(t *testing.T) {
	p := storyPlan(level(repeat(120, 12)...))
	for i := range p.Crew {
		p.Crew[i].Skills = []string{"chassis"}
	}
	p.Kinds[0].Kind = "mirrors"
	before := outcome(t, p)
	q := apply(t, WhatIf{AddTech: 1, AddTechFrom: monday + 28}, p)
	after := outcome(t, q)
	for j := range before.Weeks {
		if b, a := median(before.Backlog, j), median(after.Backlog, j); a > b+1e-9 {
			t.Fatalf("with one more the line of week %d grows from %v to %v h", j+1, b, a)
		}
	}
	if len(after.Skills) != 0 {
		t.Errorf("have %+v", after.Skills)
	}
}

// Where each of many kinds is done by a part of the crew of its own, only each
// by itself and all together are looked at, and that is no long search.
func TestManySkills(t *testing.T) {
	crew, kinds := hands(6), make([]string, 60)
	for i := range crew {
		crew[i].Skills = nil
	}
	for k := range kinds {
		kinds[k] = fmt.Sprint("kind ", k)
		for i := range crew {
			if (k+1)>>i&1 == 1 {
				crew[i].Skills = append(crew[i].Skills, kinds[k])
			}
		}
	}
	f := floor(t, crew, kinds...)
	if n := len(f.sets(f.weeks())); n != len(kinds)+1 {
		t.Errorf("want %d sets, have %d", len(kinds)+1, n)
	}
}

// The last of a crew can't be tried without: the other cases are all the same.
func TestStressOfAShopOfOne(t *testing.T) {
	p := storyPlan(level(append(repeat(30, 8), repeat(45, 12)...)...))
	p.Crew = p.Crew[:1]
	p.Policy = DefaultPolicy()
	p.Policy.NoticeWeeks = 0
	all := advise(t, p)
	if len(all) == 0 {
		t.Fatal("nothing advised")
	}
	if err := Stress(p, all); err != nil {
		t.Error(err)
	}
	for _, o := range all[0].Otherwise {
		if strings.Contains(o.If, "fewer") {
			t.Errorf("have %q", o.If)
		}
	}
}

// Opening Saturdays doesn't make a week with a holiday a usual one, by which
// the season would be known.
func TestSeasonShiftWithSaturdays(t *testing.T) {
	p := storyPlan(onePath(100, 110, 120, 54, 140, 150, 160, 170))
	p.Calendar.Days = map[forecast.Date]float64{monday + 24: 0}
	want := apply(t, WhatIf{SeasonShiftDays: 7}, p).Arriving().Values
	have := apply(t, WhatIf{SeasonShiftDays: 7, Saturdays: true}, p).Arriving().Values
	for j := range want {
		near(t, "hours", have[j], want[j], 1e-9)
	}
}

func TestMoney(t *testing.T) {
	for v, want := range map[float64]string{4: "$0", 996: "$1,000", 12345: "$12,350", 1234567: "$1,234,570"} {
		if have := money(v); have != want {
			t.Errorf("want %s, have %s", want, have)
		}
	}
}

func TestDaysName(t *testing.T) {
	for until, want := range map[forecast.Date]string{
		forecast.NewDate(2026, 1, 11): "January 5 to 11",
		forecast.NewDate(2026, 2, 1):  "January 5 to February 1",
		forecast.NewDate(2027, 1, 3):  "January 5 to January 3",
	} {
		if have := daysName(monday, until); have != want {
			t.Errorf("want %q, have %q", want, have)
		}
	}
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
