package desk

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"freshet/capacity"
)

// Limit is one thing that the owner may set about costs and limits. Until it
// is set, the usual value holds: common practice, no source.
type Limit struct {
	Name     string                      // of the flag, and of the setting after "capacity."
	Usage    string                      // what it is, with its unit
	Min, Max float64                     // values that it may take
	percent  bool                        // said in percent, kept as a share
	whole    func(*capacity.Policy) *int // where it is a whole number
	field    func(*capacity.Policy) *float64
}

// Limits gives all of them, in the order in which to show them.
func Limits() []Limit {
	weeks := func(name, usage string, field func(*capacity.Policy) *int) Limit {
		return Limit{Name: name, Usage: usage, Max: 52, whole: field}
	}
	return []Limit{
		{Name: "chance-limit", Usage: "percent: the chance to be short of hours, or of too long a line, that you put up with", Max: 99, Min: 1, percent: true,
			field: func(p *capacity.Policy) *float64 { return &p.LimitChance }},
		{Name: "lot-spaces", Usage: "rigs that fit on your lot and in your bays (0: not a limit)", Max: 1000, whole: func(p *capacity.Policy) *int { return &p.LotSpaces }},
		{Name: "line-limit", Usage: "weeks of work that the line shouldn't pass", Min: .1, Max: 52,
			field: func(p *capacity.Policy) *float64 { return &p.LimitWeeks }},
		{Name: "line-carry", Usage: "weeks of work in line that are fine with you", Max: 52,
			field: func(p *capacity.Policy) *float64 { return &p.CarryWeeks }},
		{Name: "worth", Usage: "hours on jobs from which advice is worth a word", Max: 1000,
			field: func(p *capacity.Policy) *float64 { return &p.WorthHours }},
		{Name: "overtime-premium", Usage: "times the regular wage that an hour of overtime costs", Min: 1, Max: 5,
			field: func(p *capacity.Policy) *float64 { return &p.OvertimePremium }},
		{Name: "overtime-cap", Usage: "hours a week of one technician at most, overtime included", Max: 168,
			field: func(p *capacity.Policy) *float64 { return &p.OvertimeHours }},
		weeks("overtime-weeks", "weeks of overtime on end at most", func(p *capacity.Policy) *int { return &p.OvertimeRun }),
		{Name: "saturday-crew", Usage: "percent of the crew that works an opened Saturday", Min: 1, Max: 100, percent: true,
			field: func(p *capacity.Policy) *float64 { return &p.SaturdayCrew }},
		{Name: "lost-cost", Usage: "dollars that an hour of work lost to another shop costs you (0: not known)", Max: 10000,
			field: func(p *capacity.Policy) *float64 { return &p.LostCost }},
		{Name: "wait-cost", Usage: "dollars that an hour of work in line costs you a week (0: not known)", Max: 10000,
			field: func(p *capacity.Policy) *float64 { return &p.WaitCost }},
		{Name: "line-longest", Usage: "weeks of work in line beyond which work goes elsewhere", Min: .1, Max: 52,
			field: func(p *capacity.Policy) *float64 { return &p.LostWeeks }},
		{Name: "hire-cost", Usage: "dollars to find and settle in one technician, wages apart", Max: 1e6,
			field: func(p *capacity.Policy) *float64 { return &p.HireCost }},
		weeks("fill-weeks", "weeks to fill a post", func(p *capacity.Policy) *int { return &p.FillWeeks }),
		weeks("notice-weeks", "weeks of notice that a new technician gives elsewhere", func(p *capacity.Policy) *int { return &p.NoticeWeeks }),
		weeks("ramp-weeks", "weeks until a new technician works at full speed", func(p *capacity.Policy) *int { return &p.RampWeeks }),
		{Name: "sent-out-cost", Usage: "dollars an hour of work sent to another shop (0: not known)", Max: 10000,
			field: func(p *capacity.Policy) *float64 { return &p.SentCost }},
	}
}

func (l Limit) setting() string { return limits + l.Name }

// limits begins the names of the limits' settings.
const limits = "capacity."

// Check reports a value that the limit can't take.
func (l Limit) Check(v float64) error {
	if !(v >= l.Min && v <= l.Max) || l.whole != nil && v != float64(int(v)) {
		return fmt.Errorf("--%s: need %s, have %s", l.Name, l.Needs(), inDigits(v))
	}
	return nil
}

// Needs says which numbers it takes: a whole number from 0 to 52.
func (l Limit) Needs() string {
	sort := "a number"
	if l.whole != nil {
		sort = "a whole number"
	}
	return fmt.Sprintf("%s from %s to %s", sort, inDigits(l.Min), inDigits(l.Max))
}

// inDigits writes a number as people do, a million with all of its zeros.
func inDigits(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Of gives the limit's value in a policy, as owners say it.
func (l Limit) Of(p capacity.Policy) float64 {
	switch {
	case l.whole != nil:
		return float64(*l.whole(&p))
	case l.percent:
		return math.Round(1e12**l.field(&p)) / 1e10 // 29 %, and not 28.999999999999996
	}
	return *l.field(&p)
}

// Text writes the limit's value in a policy.
func (l Limit) Text(p capacity.Policy) string { return inDigits(l.Of(p)) }

func (l Limit) put(p *capacity.Policy, v float64) {
	switch {
	case l.whole != nil:
		*l.whole(p) = int(v)
	case l.percent:
		*l.field(p) = v / 100
	default:
		*l.field(p) = v
	}
}

// SetLimit keeps a value that the owner gave. It returns the error of Check.
func (d *Desk) SetLimit(ctx context.Context, l Limit, v float64) error {
	if err := l.Check(v); err != nil {
		return err
	}
	return d.Store.Set(ctx, l.setting(), strconv.FormatFloat(v, 'g', -1, 64))
}

// Policy gives the usual policy with the owner's values in it, and the names
// of the limits that the owner has set.
func (d *Desk) Policy(ctx context.Context) (capacity.Policy, map[string]bool, error) {
	p, set := capacity.DefaultPolicy(), map[string]bool{}
	kept, err := d.Store.Settings(ctx, limits)
	if err != nil {
		return p, nil, err
	}
	for _, l := range Limits() {
		text := kept[l.Name]
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err == nil {
			err = l.Check(v)
		}
		if err != nil {
			return p, nil, fmt.Errorf("the shop's setting %s: %w", l.setting(), err)
		}
		l.put(&p, v)
		set[l.Name] = true
	}
	return p, set, nil
}
