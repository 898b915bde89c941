package capacity

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
)

// Policy is what the owner puts up with, and how far ahead decisions are
// made. Weeks are whole weeks unless said otherwise. What a field is called in
// an error stands beside it.
type Policy struct {
	PlanAt      float64 `is:"the share of possible futures to plan for"`                           // quantile of joint paths to plan on
	CarryWeeks  float64 `is:"the weeks of work in line that are fine"`                             // that the shop is content to carry, may be a fraction
	LimitWeeks  float64 `is:"the weeks of work that the line shouldn't pass"`                      // may be a fraction
	LimitChance float64 `is:"the chance to be short of hours, or of too long a line, put up with"` // of passing it, or of a week short of hours
	WorthHours  float64 `is:"the hours on jobs from which advice is worth a word"`                 // in all

	FillWeeks   int `is:"the weeks to fill a post"`
	NoticeWeeks int `is:"the weeks of notice that a new technician gives elsewhere"`
	RampWeeks   int `is:"the weeks until a new technician works at full speed"`

	OvertimeRun     int     `is:"the weeks of overtime on end"`                          // at most
	OvertimeHours   float64 `is:"the hours a week of one technician, overtime included"` // planned, at most
	OvertimePremium float64 `is:"the regular hours that an hour of overtime costs"`      // 1 or more
	OvertimeAhead   int     `is:"the weeks of warning of overtime"`                      // that the crew gets
	WarnHours       float64 `is:"the weekly hours above which a plan is doubtful"`

	SaturdayRun   int     `is:"the weeks of shortage from which Saturdays are worth opening"`
	SaturdayCrew  float64 `is:"the share of the crew that works an opened Saturday"` // in turn
	SaturdayAhead int     `is:"the weeks of warning of a Saturday"`

	TimeOffAhead int `is:"the weeks ahead that time off is settled"`

	LotSpaces int `is:"the rigs that fit on the lot"` // 0 if that isn't a limit

	WaitCost  float64 `is:"the cost of an hour of work in line a week"`       // of the shop; 0 if not known
	LostCost  float64 `is:"the cost of an hour of work lost to another shop"` // because the line is too long; 0 if not known
	LostWeeks float64 `is:"the weeks of work in line beyond which work goes elsewhere"`

	HireCost  float64 `is:"the cost of finding and settling in a technician"` // wages apart
	SentCost  float64 `is:"the cost of an hour of work sent to another shop"` // 0 if not known
	SentAhead int     `is:"the weeks that it takes to send work out"`

	UsedShare float64 `is:"the share of hours used under which a week is a lull"` // at PlanAt
	LullAhead int     `is:"the weeks that it takes to fill a lull"`
}

// DefaultPolicy gives common practice, no source: owners should put in their
// own.
func DefaultPolicy() Policy {
	return Policy{
		PlanAt: .8, CarryWeeks: .5, LimitWeeks: 2, LimitChance: .2, WorthHours: 8,
		FillWeeks: 8, NoticeWeeks: 2, RampWeeks: 4,
		OvertimeRun: 3, OvertimeHours: 50, OvertimePremium: 1.5, OvertimeAhead: 1, WarnHours: 60,
		SaturdayRun: 4, SaturdayCrew: .5, SaturdayAhead: 3,
		TimeOffAhead: 4, SentAhead: 2, LostWeeks: 3,
		UsedShare: .7, LullAhead: 3,
	}
}

func (p Policy) check() error {
	v := reflect.ValueOf(&p).Elem()
	for i := range v.NumField() {
		x, is := v.Field(i), v.Type().Field(i).Tag.Get("is")
		number := 0.0
		if x.CanInt() {
			number = float64(x.Int())
		} else {
			number = x.Float()
		}
		switch share := x.Addr().Interface(); {
		case !(number >= 0) || math.IsInf(number, 1):
			return fmt.Errorf("capacity: need %s to be 0 or more, have %v", is, number)
		case number > 1 && slices.Contains([]any{&p.PlanAt, &p.LimitChance, &p.UsedShare, &p.SaturdayCrew}, share):
			return fmt.Errorf("capacity: need %s to be 1 or less, have %v", is, number)
		}
	}
	switch {
	case p.PlanAt == 1: // what no future passes isn't known
		return errors.New("capacity: need the share of possible futures to plan for to be below 1, have 1")
	case p.OvertimePremium < 1:
		return fmt.Errorf("capacity: need overtime to cost 1 regular hour or more, have %v", p.OvertimePremium)
	}
	return nil
}
