package capacity

import (
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast/forecasttest"
)

func TestMisuse(t *testing.T) {
	demand := distuv.Normal{Mu: 160, Sigma: 25}
	forecasttest.Refuses(t, "capacity: ", map[string]func(){
		"hours of no weeks":             func() { storyCrew().Hours(DefaultCalendar(), nil, monday, 0) },
		"a floor of no days":            func() { NewFloor(storyCrew(), DefaultCalendar(), nil, nil, monday, 0) },
		"less than no open days":        func() { DefaultCalendar().AddOpenDays(monday, -1) },
		"days without an end":           func() { DefaultCalendar().AddOpenDays(monday, math.Inf(1)) },
		"a number of days that isn't":   func() { DefaultCalendar().AddOpenDays(monday, math.NaN()) },
		"a shop that never opens":       func() { Calendar{}.AddOpenDays(monday, 1) },
		"hours that cost less than 0":   func() { Newsvendor(demand, -1, 1) },
		"hours that cost nothing":       func() { Newsvendor(demand, 0, 0) },
		"emergencies without hours":     func() { Emergencies{PerWeek: 3}.Quantile(.8) },
		"emergencies beyond any shop's": func() { Emergencies{PerWeek: 700, Hours: 2, SD: 1}.Quantile(.8) },
	})
}

// An owner's limits that can't be meant are an error that says which.
func TestPolicyRefused(t *testing.T) {
	for words, change := range map[string]func(*Policy){
		"need the chance to be short of hours, or of too long a line, put up with to be 1 or less, have 20": func(p *Policy) { p.LimitChance = 20 }, // percent for a share
		"need the share of possible futures to plan for to be below 1, have 1":                              func(p *Policy) { p.PlanAt = 1 },
		"need the cost of an hour of work in line a week to be 0 or more, have -1":                          func(p *Policy) { p.WaitCost = -1 },
		"need the weeks to fill a post to be 0 or more, have -2":                                            func(p *Policy) { p.FillWeeks = -2 },
		"need overtime to cost 1 regular hour or more, have 0.5":                                            func(p *Policy) { p.OvertimePremium = .5 },
	} {
		p := DefaultPolicy()
		change(&p)
		if err := p.check(); err == nil || err.Error() != "capacity: "+words {
			t.Errorf("want %q, have %v", words, err)
		}
	}
	for f := range reflect.TypeFor[Policy]().Fields() {
		if f.Tag.Get("is") == "" {
			t.Errorf("need words for %s, have none", f.Name)
		}
	}
	if err := DefaultPolicy().check(); err != nil {
		t.Error(err)
	}
}
