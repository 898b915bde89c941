package capacity

import (
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/forecast/forecasttest"

	"pgregory.net/rapid"
)

func date(t testing.TB, s string) forecast.Date {
	t.Helper()
	return must[forecast.Date](t)(forecast.ParseDate(s))
}

func TestMemorialAndLaborDay(t *testing.T) {
	c := DefaultCalendar()
	closedMonday := func(year int, m time.Month) float64 {
		for d := forecast.NewDate(year, m, 1); ; d++ {
			if d.Weekday() == time.Monday && c.OpenShare(d) == 0 {
				return float64(d.Time().Day())
			}
		}
	}
	var have []float64
	for _, m := range []time.Month{time.May, time.September} {
		for year := 2024; year <= 2028; year++ {
			have = append(have, closedMonday(year, m))
		}
	}
	forecasttest.Ref(t, "memorial_labor_days").Equal(t, have...)
}

// Days of the week are from the calendar; the observance rule is 5 USC 6103.
func TestHolidaysAreKeptOnOpenDays(t *testing.T) {
	usual := DefaultCalendar()
	saturdays := DefaultCalendar()
	saturdays.Week[time.Saturday] = .5
	for _, c := range []struct {
		calendar Calendar
		day      string
		want     float64
	}{
		{usual, "2026-07-03", 0},      // July 4 is a Saturday
		{saturdays, "2026-07-03", 1},  // and a shop open on Saturdays keeps it
		{saturdays, "2026-07-04", 0},  // on the day itself
		{saturdays, "2026-07-11", .5}, // a plain Saturday
		{usual, "2027-07-05", 0},      // July 4 is a Sunday
		{usual, "2027-12-31", 0},      // January 1, 2028 is a Saturday
		{usual, "2026-11-26", 0},      // Thanksgiving
		{usual, "2026-11-27", 0},      // the day after
		{usual, "2026-10-12", 1},      // Columbus Day: not by default
		{usual, "2026-12-25", 0},
		{usual, "2026-12-24", 1},
		{usual, "2026-12-26", 0}, // Saturday
	} {
		if have := c.calendar.OpenShare(date(t, c.day)); have != c.want {
			t.Errorf("%s: want a share of %v, have %v", c.day, c.want, have)
		}
	}
}

func TestExceptionsWin(t *testing.T) {
	c := DefaultCalendar()
	c.Days = map[forecast.Date]float64{date(t, "2026-11-27"): 1, date(t, "2026-12-24"): .5, date(t, "2026-12-19"): 1}
	for day, want := range map[string]float64{"2026-11-27": 1, "2026-12-24": .5, "2026-12-19": 1} {
		if have := c.OpenShare(date(t, day)); have != want {
			t.Errorf("%s: want a share of %v, have %v", day, want, have)
		}
	}
	near(t, "open days in Christmas week", c.OpenDays(date(t, "2026-12-21"), date(t, "2026-12-28")), 3.5, 0)
}

func TestSaturdaysSparesClosedDays(t *testing.T) {
	c := DefaultCalendar()
	closed := date(t, "2026-12-19")
	c.Days = map[forecast.Date]float64{closed: 0}
	// December 26 isn't a holiday, but July 4, 2026, a Saturday, is.
	days := c.saturdays(date(t, "2026-12-14"), date(t, "2026-12-28"), .5)
	if len(days) != 1 || days[date(t, "2026-12-26")] != .5 {
		t.Errorf("want December 26 alone opened by half, have %v", days)
	}
	if days := c.saturdays(date(t, "2026-07-01"), date(t, "2026-07-08"), 1); len(days) != 0 {
		t.Errorf("want Independence Day closed, have %v opened", days)
	}
}

func TestAddOpenDays(t *testing.T) {
	c := DefaultCalendar()
	for _, k := range []struct {
		from string
		n    float64
		want string
	}{
		{"2026-11-24", 0, "2026-11-24"},
		{"2026-11-24", 1, "2026-11-25"},
		{"2026-11-24", 2, "2026-11-30"}, // over Thanksgiving, the day after and a weekend
		{"2026-11-28", 0, "2026-11-30"},
		{"2026-11-24", 1.5, "2026-11-30"},
	} {
		if have := c.AddOpenDays(date(t, k.from), k.n); have != date(t, k.want) {
			t.Errorf("%v open days after %s: want %s, have %v", k.n, k.from, k.want, have)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		d := forecast.Date(rapid.IntRange(10000, 40000).Draw(t, "day"))
		n := float64(rapid.IntRange(0, 60).Draw(t, "open days"))
		end := c.AddOpenDays(d, n)
		if c.OpenShare(end) == 0 || c.OpenDays(d, end) != n || c.NextOpen(end) != end {
			t.Fatalf("%v and %v open days: have %v with %v between", d, n, end, c.OpenDays(d, end))
		}
	})
}

func TestCalendarCheck(t *testing.T) {
	if err := DefaultCalendar().Check(); err != nil {
		t.Error(err)
	}
	never := Calendar{}
	hours := DefaultCalendar()
	hours.Week[time.Monday] = 8
	unknown := DefaultCalendar()
	unknown.Holidays = append(unknown.Holidays, "Deer Day")
	negative := DefaultCalendar()
	negative.Days = map[forecast.Date]float64{monday: -1}
	for want, c := range map[string]Calendar{"have 0": never, "have 8": hours, "Deer Day": unknown, "have -1": negative} {
		if err := c.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error with %q, have %v", want, err)
		}
	}
	if n := len(KnownHolidays()); n != 12 { // eleven federal ones since 2021 (5 USC 6103) and the day after Thanksgiving
		t.Errorf("want 12 known holidays, have %d", n)
	}
	defer func() {
		if recover() == nil {
			t.Error("a shop that never opens has a next open day")
		}
	}()
	never.NextOpen(monday)
}
