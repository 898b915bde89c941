package report_test

import (
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
)

// Each advice has a title that one can act on, with its hours and its days.
func TestTitles(t *testing.T) {
	march := forecast.NewDate(2026, 3, 2)
	for _, c := range []struct {
		a    report.Advice
		want string
	}{
		{report.Advice{Do: capacity.Hire, From: march, DecideBy: march - 90}, "Look for one more technician, at full speed by March 2"},
		{report.Advice{Do: capacity.Hire, From: march, DecideBy: march}, "Look for one more technician now"},
		{report.Advice{Do: capacity.Overtime, From: march, Hours: 12.4}, "Plan 12 hours of overtime from March 2"},
		{report.Advice{Do: capacity.OpenSaturday, From: march, Until: march + 26}, "Open on Saturdays from March 2 to March 28"},
		{report.Advice{Do: capacity.OpenSaturday, From: march, Until: march + 26, InsteadOf: capacity.Hire}, "Or instead: open on Saturdays from March 2 to March 28"},
		{report.Advice{Do: capacity.MoveWork, From: march, Hours: 1200}, "Move 1,200 hours of work that can wait to March 2"},
		{report.Advice{Do: capacity.ApproveTimeOff, From: march, Until: march + 13, Who: "Oda"}, "Time off of Oda from March 2 to March 15 can be granted"},
		{report.Advice{Do: capacity.ApproveTimeOff, From: march, Until: march + 20}, "Weeks that can spare someone: March 2 to March 22"},
		{report.Advice{Do: capacity.HoldTimeOff, From: march, Until: march + 4, Who: "Oda"}, "Say no to Oda's time off from March 2 to March 6, or move it"},
		{report.Advice{Do: capacity.HoldTimeOff, From: march, Until: march}, "Say no to the time off on March 2, or move it"},
		{report.Advice{Do: capacity.Subcontract, From: march, Until: march + 13, Hours: 30, Kind: "gas"}, "Send out 30 hours of gas from March 2 to March 15"},
		{report.Advice{Do: capacity.FillLull, From: march, Until: march + 13}, "Fill the lull from March 2 to March 15"},
	} {
		if have := report.Title(c.a); have != c.want {
			t.Errorf("want %q, have %q", c.want, have)
		}
	}
}

// What would change an advice is one sentence, and says of time off what
// becomes of it.
func TestIfNot(t *testing.T) {
	by := forecast.NewDate(2026, 3, 2)
	other := []report.Otherwise{{If: "15 % less work"}, {If: "15 % more work", Stands: true, DecideBy: by, Hours: 40}, {If: "the season 21 days later", Stands: true, DecideBy: by + 7, Hours: 1500},
		{If: "1 technician fewer", Stands: true, DecideBy: by, Hours: 40.2}}
	for do, want := range map[string][3]string{
		capacity.Hire:           {"it isn't advised", "", ""},
		capacity.HoldTimeOff:    {"it can be granted", "", ""},
		capacity.ApproveTimeOff: {"it is better refused", "", ""},
		capacity.Overtime:       {"it isn't advised", " (40 hours)", " (1,500 hours)"},
		capacity.FillLull:       {"it isn't advised", " (40 free hours)", " (1,500 free hours)"},
	} {
		want := "With 15 % less work " + want[0] + "; with 15 % more work or 1 technician fewer it stands" + want[1] + "; with the season 21 days later decide by March 9" + want[2] + "."
		if have := (report.Advice{Do: do, DecideBy: by, Otherwise: other}).IfNot(); have != want {
			t.Errorf("want %q, have %q", want, have)
		}
	}
	instead := report.Advice{Do: capacity.Overtime, DecideBy: by, Otherwise: []report.Otherwise{{If: "15 % more work", Instead: capacity.Hire}}}
	if have, want := instead.IfNot(), "With 15 % more work it isn't advised, and one more technician takes its place."; have != want {
		t.Errorf("want %q, have %q", want, have)
	}
	if have := (report.Advice{}).IfNot(); have != "" {
		t.Errorf("nothing is known: have %q", have)
	}
}

func TestDollars(t *testing.T) {
	for v, want := range map[float64]string{0: "$0", 669.4: "$669", 1995: "$2,000", 8186: "$8,190", 33095: "$33,100", 1234567: "$1,230,000", -20048: "$-20,000"} {
		if have := report.Dollars(v); have != want {
			t.Errorf("%v: want %q, have %q", v, want, have)
		}
	}
}

// The first sentence is true where there is nothing to forecast from, and
// another one where something went wrong.
func TestNothingToSay(t *testing.T) {
	if have := report.Build(report.Facts{}).Headline[0]; have != "There is nothing on record yet: import the shop's drop-offs first." {
		t.Errorf("have %q", have)
	}
	if have := report.Build(report.Facts{Failed: []string{"The forecast broke off."}}).Headline[0]; have != "There is no forecast this time: something went wrong." {
		t.Errorf("have %q", have)
	}
}

// Last week's quotes are counted, those that were missed named, a handful at
// the most, and those that nobody can judge said.
func TestQuotesThatFellDue(t *testing.T) {
	by := forecast.NewDate(2026, 3, 4)
	ready := func(d forecast.Date) *forecast.Date { return &d }
	quote := func(ready *forecast.Date) report.QuoteDue {
		return report.QuoteDue{RO: "R1", Kind: "gas", By: by, Known: true, Ready: ready}
	}
	var none *report.QuotesDue
	many := &report.QuotesDue{Quotes: []report.QuoteDue{quote(ready(by))}}
	for range 6 {
		many.Quotes = append(many.Quotes, quote(nil))
	}
	missed := "order R1 (gas) was quoted for March 4 and isn't ready"
	for _, c := range []struct {
		due  *report.QuotesDue
		want string
	}{
		{none, ""},
		{&report.QuotesDue{}, ""},
		{&report.QuotesDue{Quotes: []report.QuoteDue{quote(ready(by))}}, "Of 1 quoted date that fell due last week, 1 was kept; 8 in 10 should be."},
		{&report.QuotesDue{Quotes: []report.QuoteDue{quote(ready(by - 1)), quote(ready(by)), quote(ready(by + 1)), {By: by}}},
			"Of 3 quoted dates that fell due last week, 2 were kept; 8 in 10 should be. Missed: order R1 (gas) was quoted for March 4 and ready on March 5. 1 quote that fell due last week names no repair order on record, so that nobody can tell whether it held."},
		{&report.QuotesDue{Quotes: []report.QuoteDue{{By: by}, {By: by}}}, "2 quotes that fell due last week name no repair order on record, so that nobody can tell whether they held."},
		{many, "Of 7 quoted dates that fell due last week, 1 was kept; 8 in 10 should be. Missed: " + strings.Repeat(missed+"; ", 5) + "and 1 more."},
	} {
		if have := c.due.String(); have != c.want {
			t.Errorf("want %q, have %q", c.want, have)
		}
	}
}

// The line on last week says on which side of the range it lay, and nothing
// where the earlier report doesn't know the week.
func TestLastWeekAgainstTheRange(t *testing.T) {
	monday := forecast.NewDate(2026, 3, 9)
	expected := forecast.Spread{Mean: 24, P10: 15.4, P50: 24, P90: 33.6} // as whole numbers 15 to 34
	before := report.Report{Facts: report.Facts{AsOf: monday - 7, Weeks: []report.Week{{Monday: monday - 7, DropOffs: expected}}}}
	for came, how := range map[float64]string{14: "fewer than the range", 15: "inside the range", 34: "inside the range", 35: "more than the range"} {
		now := report.Report{Facts: report.Facts{AsOf: monday, Season: []report.Point{{Monday: monday - 7, Actual: &came}}}}
		if have := now.Since(before); len(have) != 1 || !strings.HasSuffix(have[0], " expected about 24 (8 times out of 10, 15 to 34): "+how+".") {
			t.Errorf("%v: want %q, have %q", came, how, have)
		}
		if have := now.Since(report.Report{}); have != nil {
			t.Errorf("no earlier report: have %q", have)
		}
	}
	if have := (report.Report{Facts: report.Facts{AsOf: monday}}).Since(before); have != nil {
		t.Errorf("nothing is known of the week: have %q", have)
	}
}
