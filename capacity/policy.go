package capacity

import (
	"errors"
	"fmt"
	"math"
	"reflect"
)

// Policy is what the owner puts up with, and how far ahead decisions are
// made. Weeks are whole weeks unless said otherwise.
type Policy struct {
	PlanAt      float64 // quantile of joint paths to plan on
	CarryWeeks  float64 // weeks of work that the shop is content to carry, may be a fraction
	LimitWeeks  float64 // weeks of work that the backlog shouldn't pass, may be a fraction
	LimitChance float64 // chance of passing it, or of a week short of hours, that the owner puts up with
	WorthHours  float64 // hours on jobs, in all, under which an advice isn't worth a word

	FillWeeks, NoticeWeeks, RampWeeks int // to fill a post; the hire's notice elsewhere; to full speed

	OvertimeRun     int     // weeks of overtime on end at most
	OvertimeHours   float64 // planned hours a week of one technician at most
	OvertimePremium float64 // cost of an hour of overtime, in regular hours
	OvertimeAhead   int     // weeks of warning that the crew gets
	WarnHours       float64 // weekly hours above which a plan is doubtful

	SaturdayRun   int     // weeks of shortage from which Saturdays are worth opening
	SaturdayCrew  float64 // share of the crew that works one, in turn
	SaturdayAhead int

	TimeOffAhead int // weeks ahead that time off is settled

	LotSpaces int // rigs that fit on the lot; 0 if that isn't a limit

	WaitCost  float64 // what an hour of work in line costs the shop a week, and
	LostCost  float64 // an hour lost because the line is too long; both 0 if not known
	LostWeeks float64 // weeks of work in line beyond which work goes elsewhere

	HireCost  float64 // of finding and settling in one technician, wages apart
	SentCost  float64 // of an hour of work sent to another shop; 0 if not known
	SentAhead int     // weeks that it takes to arrange

	UsedShare float64 // share of the hours used at PlanAt under which a week is a lull
	LullAhead int     // weeks that it takes to fill one
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
	v := reflect.ValueOf(p)
	for i := range v.NumField() {
		x := v.Field(i)
		number := 0.0
		if x.CanInt() {
			number = float64(x.Int())
		} else {
			number = x.Float()
		}
		if !(number >= 0) || math.IsInf(number, 1) {
			return fmt.Errorf("capacity: need the policy's %s to be 0 or more, have %v", v.Type().Field(i).Name, number)
		}
	}
	switch {
	case p.PlanAt == 1: // what no future passes isn't known
		return errors.New("capacity: need the policy's PlanAt to be below 1, have 1")
	case p.PlanAt > 1 || p.LimitChance > 1 || p.UsedShare > 1 || p.SaturdayCrew > 1:
		return fmt.Errorf("capacity: need the policy's shares and chances to be 1 or less, have %+v", p)
	case p.OvertimePremium < 1:
		return fmt.Errorf("capacity: need overtime to cost 1 regular hour or more, have %v", p.OvertimePremium)
	}
	return nil
}
