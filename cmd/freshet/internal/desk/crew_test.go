package desk_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/report"
)

func crew(t *testing.T, d *desk.Desk, a desk.Ask, w capacity.WhatIf) desk.Crew {
	t.Helper()
	c, err := d.Crew(context.Background(), a, w)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A what-if names itself and carries the weeks as they stand.
func TestWhatIfBesideThePlan(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	d := shop(t, nil)
	now := crew(t, d, ask(asOf), capacity.WhatIf{})
	if now.Scenario != "" || now.Baseline != nil || now.Ahead <= len(now.Weeks) {
		t.Errorf("the plan as it stands: %q, %d weeks of a baseline, %d ahead", now.Scenario, len(now.Baseline), now.Ahead)
	}
	then := crew(t, d, ask(asOf), capacity.WhatIf{AddTech: 1})
	if then.Scenario != "1 technician more" || len(then.Baseline) != len(now.Weeks) {
		t.Fatalf("have %q and %d weeks", then.Scenario, len(then.Baseline))
	}
	for j := range now.Weeks {
		if then.Baseline[j] != now.Weeks[j] {
			t.Errorf("week %d: want %+v, have %+v", j, now.Weeks[j], then.Baseline[j])
		}
	}
	tried, err := d.WhatIfs(context.Background(), ask(asOf))
	if err != nil {
		t.Fatal(err)
	}
	weeks, asNow, err := tried.Try(capacity.WhatIf{AddTech: 1})
	if err != nil || !slices.Equal(asNow, now.Weeks) || !slices.Equal(weeks, then.Weeks) {
		t.Errorf("want what-ifs to give Crew's weeks, have %v\n%+v\n%+v", err, asNow[0], weeks[0])
	}
	rough, roughNow, err := tried.TryRoughly(capacity.WhatIf{AddTech: 1})
	if err != nil {
		t.Fatal(err)
	}
	for j := range weeks {
		for _, x := range [][2]float64{{rough[j].ChanceShort, weeks[j].ChanceShort}, {roughNow[j].ChanceShort, asNow[j].ChanceShort}} {
			if math.Abs(x[0]-x[1]) > .15 { // three standard errors of 100 futures
				t.Errorf("week %d: want a chance of %.2f at least roughly, have %.2f", j, x[1], x[0])
			}
		}
		if rough[j].AvailableHours != weeks[j].AvailableHours {
			t.Errorf("week %d: want %v h, have %v", j, weeks[j].AvailableHours, rough[j].AvailableHours)
		}
	}
	if h := now.HoldBack; h == nil || h.PerWeek < 1 || h.PerWeek > 3 || h.Hours <= 0 || h.At != .8 || h.Release != "Thursday" {
		t.Errorf("hold back %+v", h)
	}
	if len(now.Skills) != 2 || strings.Join(now.Skills[0].Who, " ") != "Ansel Corin" || strings.Join(now.Skills[1].Kinds, " ") != "cooling" {
		t.Errorf("have %+v", now.Skills)
	}
	// Half the crew's hours are those of Ansel and Corin, who alone may work on gas.
	want := 40 * (.88 + .84)
	if w := now.Skills[0].Weeks[1]; math.Abs(w.AvailableHours-want) > 35 || w.AvailableHours > want+1e-9 {
		t.Errorf("want %v h or a technician's less, have %v", want, w.AvailableHours)
	}
}

// A limit that the owner sets rules the advice: nobody is hired or held back
// at 99 %.
func TestOwnersLimits(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	ctx := context.Background()
	d := shop(t, nil)
	held := func() (n int) {
		for _, a := range crew(t, d, ask(asOf), capacity.WhatIf{}).Advice {
			if a.Do == capacity.HoldTimeOff || a.Do == capacity.Hire {
				n++
			}
		}
		return n
	}
	if held() == 0 {
		t.Fatal("nothing is held at the usual limit")
	}
	for _, l := range desk.Limits() {
		usual := l.Of(capacity.DefaultPolicy())
		if err := l.Check(usual); err != nil {
			t.Errorf("the usual value: %v", err)
		}
		if err := d.SetLimit(ctx, l, l.Max+1); err == nil {
			t.Errorf("%s takes %v", l.Name, l.Max+1)
		}
		if l.Name == "chance-limit" {
			if err := d.SetLimit(ctx, l, 99); err != nil {
				t.Fatal(err)
			}
		}
		if l.Name == "ramp-weeks" {
			if err := d.SetLimit(ctx, l, 2.5); err == nil {
				t.Error("two and a half weeks pass")
			}
			if err := d.SetLimit(ctx, l, 6); err != nil {
				t.Fatal(err)
			}
		}
	}
	p, set, err := d.Policy(ctx)
	if err != nil || p.LimitChance != .99 || p.RampWeeks != 6 || len(set) != 2 {
		t.Errorf("have %+v, %v, %v", p, set, err)
	}
	if n := held(); n != 0 {
		t.Errorf("%d are held or hired at a limit of 99 %%", n)
	}
	if err := d.Store.Set(ctx, "capacity.ramp-weeks", "soon"); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Crew(ctx, ask(asOf), capacity.WhatIf{}); err == nil || !strings.Contains(err.Error(), "ramp-weeks") {
		t.Errorf("have %v", err)
	}
}

// The invented crew's true productivity is .858 by weekly hours; learned from
// clocked hours it comes within ten points, a value on record wins, and where
// hours aren't clocked the usual one stands.
func TestProductivityIsLearned(t *testing.T) {
	if testing.Short() {
		t.Skip("several seconds")
	}
	d := shop(t, nil)
	take(t, d, "crew.csv", ingest.Crew, "name,weekly_hours,productivity,from\nAnsel,40,,\nBrika,40,,\nCorin,40,.5,\nDessa,36,,2020-03-01\n", nil)
	day := forecast.NewDate(2025, 6, 2) // a week without holiday or time off
	c := crew(t, d, ask(day), capacity.WhatIf{})
	learned := (c.Weeks[0].AvailableHours - 40*.5) / 116
	if math.Abs(learned-.858) > .1 {
		t.Errorf("learned %v", learned)
	}
	if !strings.Contains(strings.Join(c.Warnings, " "), "3 of the crew have no share of hours on jobs on record: learned as") {
		t.Errorf("not said: %v", c.Warnings)
	}

	// A crew that is far too large clocks few hours for want of jobs: that says
	// nothing of what it can do, and advice that hangs on it says so.
	take(t, d, "crew.csv", ingest.Crew, "name,weekly_hours,productivity,from\nAnsel,100,,\nBrika,100,,\nCorin,100,,\nDessa,100,,2020-03-01\n", nil)
	c = crew(t, d, ask(day), capacity.WhatIf{DemandPercent: 200})
	warned := 0
	if share := c.Weeks[0].AvailableHours / 400; math.Abs(share-.85) > .001 || !strings.Contains(strings.Join(c.Warnings, " "), "in too few weeks was work waiting to learn it from: 85 %") {
		t.Errorf("of a crew without enough to do: learned %v; %v", share, c.Warnings)
	}
	for _, a := range c.Advice {
		if guess := strings.HasSuffix(a.Why, " It rests on a guess, that 85 % of paid hours go on jobs: check that first."); guess != (a.Do == capacity.Hire || a.Do == capacity.OpenSaturday || a.Do == capacity.Subcontract) {
			t.Errorf("%s: %s", a.Do, a.Why)
		} else if guess {
			warned++
		}
	}
	if warned == 0 {
		t.Errorf("nothing costly is advised, so that this shows nothing: %+v", c.Advice)
	}
	if o, err := d.Outlook(context.Background(), ask(day)); err != nil || strings.Contains(strings.Join(o.Warnings, " "), "share of hours") {
		t.Errorf("the outlook speaks of the crew: %v, %v", o.Warnings, err)
	}

	d = shop(t, func(r ingest.Record) bool { return r.RowKind() != ingest.Crew })
	take(t, d, "crew.csv", ingest.Crew, "name,weekly_hours\nAnsel,40\n", nil)
	early := forecast.NewDate(2020, 6, 1) // too few months on record to learn from
	if c := crew(t, d, ask(early), capacity.WhatIf{}); !strings.Contains(strings.Join(c.Warnings, " "), "in too few weeks was work waiting to learn it from: 85 % of their paid hours are taken") {
		t.Errorf("not said: %v", c.Warnings)
	}
}

// Whom to call in a lull: work that can wait, then units away for a year, by
// numbers, and nobody of whom a later day alone knows.
func TestWhomToCall(t *testing.T) {
	d := empty(t)
	var text strings.Builder
	text.WriteString("ro_number,dropped_off,unit,kind,clocked_hours,ready,deferrable,status\n")
	for i := range 400 {
		fmt.Fprintf(&text, "R%d,%v,U%d,plumbing,2,%v,,\n", i, asOf-700+forecast.Date(i), i, asOf-699+forecast.Date(i))
	}
	fmt.Fprintf(&text, "D1,%v,Y,plumbing,,,,Customer declined\n", asOf-40)
	fmt.Fprintf(&text, "W1,%v,X,plumbing,,,yes,\nW1,%v,X,plumbing,,,yes,\n", asOf-3, asOf-3) // two lines, one call
	fmt.Fprintf(&text, "Z9,%v,U0,plumbing,,,,\n", asOf)                                      // not in yet
	take(t, d, "drop-offs.csv", ingest.DropOffs, text.String(), nil)
	take(t, d, "crew.csv", ingest.Crew, "name,weekly_hours,productivity\nOda,40,.8\n", nil)
	for _, a := range crew(t, d, ask(asOf), capacity.WhatIf{DemandPercent: -90}).Advice {
		if a.Do != capacity.FillLull {
			continue
		}
		calls := strings.Join(a.Call, "\n")
		if len(a.Call) != 12 || !strings.HasPrefix(calls, "order D1: plumbing, declined or put off since "+report.LongDay(asOf-40)+"\norder W1: plumbing that can wait\nunit U334 ") || strings.Contains(calls, "Z9") {
			t.Errorf("have %d:\n%s", len(a.Call), calls)
		}
		return
	}
	t.Fatal("no lull at a tenth of the work")
}

// A lot too small for the shop's rigs is said with its week and chance, in the
// answer and in each week.
func TestLotFull(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds")
	}
	d := shop(t, nil)
	full := func(spaces float64) (chance *float64, said string) {
		for _, l := range desk.Limits() {
			if l.Name == "lot-spaces" {
				if err := d.SetLimit(context.Background(), l, spaces); err != nil {
					t.Fatal(err)
				}
			}
		}
		c := crew(t, d, ask(asOf), capacity.WhatIf{})
		for _, w := range c.Warnings {
			if strings.Contains(w, "lot spaces") {
				said = w
			}
		}
		if rigs := c.Weeks[0].RigsOnLot.P50; rigs < 5 || rigs > 60 {
			t.Errorf("%v rigs on the lot", rigs)
		}
		return c.Weeks[0].ChanceLotFull, said
	}
	if chance, said := full(0); chance != nil || said != "" {
		t.Errorf("without a limit: %v, %q", chance, said)
	}
	if chance, said := full(3); chance == nil || *chance != 1 || !strings.Contains(said, "All 3 lot spaces may be taken in the week of November 23 (a chance of 100 %)") {
		t.Errorf("three spaces: %v, %q", chance, said)
	}
	if chance, said := full(1000); chance == nil || *chance != 0 || said != "" {
		t.Errorf("a thousand spaces: %v, %q", chance, said)
	}
}
