package web

import (
	"strings"
	"testing"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
)

// What makes a week is said in steps that follow from each other.
func TestSays(t *testing.T) {
	week := desk.OutlookWeek{Week: 20787, DropOffs: forecast.Spread{Mean: 6, P10: 3, P50: 6, P80: 8, P90: 9}, Hours: forecast.Spread{Mean: 30}}
	for _, x := range []struct {
		move desk.Move
		want string
	}{
		{desk.Move{Level: 20, Season: .5, OpenDays: 4, UsualDays: 5, Rest: .75, SeasonKnown: true, Events: []string{"Rally"}},
			"6 drop-offs expected in the week of Monday, November 30, 2026; in 8 weeks of 10 like it, 3 to 9. Lately a week brings 20.0, with the time of year and closed days taken out. " +
				"This time of year brings 50 % less: that makes 10.0. The shop is open 4 of 5 days, which brings 20 % less: that makes 8.0. In this week: Rally. " +
				"That, and what else the last weeks and years tell, brings 25 % less: that makes 6.0. That is 30 hours of work, 5.0 a drop-off."},
		{desk.Move{Level: 6, Season: 1, OpenDays: 5, UsualDays: 5, Rest: 1},
			"6 drop-offs expected in the week of Monday, November 30, 2026; in 8 weeks of 10 like it, 3 to 9. Lately a week brings 6.0, with the time of year and closed days taken out. " +
				"What the time of year does isn't known yet: that takes a year of records. That is 30 hours of work, 5.0 a drop-off."},
		{desk.Move{Level: 6, Season: 1, UsualDays: 5, Rest: 1}, "6 drop-offs expected in the week of Monday, November 30, 2026; in 8 weeks of 10 like it, 3 to 9. The shop is closed all week. What is expected all the same is what such weeks brought before."},
	} {
		if have := strings.Join(saysOf(week, x.move), " "); have != x.want {
			t.Errorf("want\n%s\nhave\n%s", x.want, have)
		}
	}
}

// Shares of days are added up, and written to no more places than they have.
func TestDaysOf(t *testing.T) {
	tenth, fifth := .1, .2
	if have := daysOf(tenth+fifth, 5); have != "0.3 of 5 days" {
		t.Errorf("have %s", have)
	}
}
