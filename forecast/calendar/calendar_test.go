package calendar

import (
	"testing"
	"time"

	"freshet/forecast"
	"freshet/forecast/forecasttest"
)

func TestEaster(t *testing.T) {
	var have []float64
	for y := 2024; y <= 2028; y++ {
		d := Easter(y).Time()
		have = append(have, float64(int(d.Month())*100+d.Day()))
	}
	forecasttest.Ref(t, "easter_sundays").Equal(t, have...)
	// The earliest and latest dates of the 19th to 21st centuries
	// (from memory): 22 March 1818, 25 April 1943.
	if Easter(1818) != forecast.NewDate(1818, time.March, 22) || Easter(1943) != forecast.NewDate(1943, time.April, 25) {
		t.Errorf("have %v and %v", Easter(1818), Easter(1943))
	}
}

func TestMondays(t *testing.T) {
	var may, september []float64
	for y := 2024; y <= 2028; y++ {
		may = append(may, float64(MemorialDay(y).Time().Day()))
		september = append(september, float64(LaborDay(y).Time().Day()))
	}
	forecasttest.Ref(t, "memorial_labor_days").Equal(t, append(may, september...)...)
}

// Over a whole cycle of the Gregorian calendar each holiday falls where its
// rule says.
func TestRules(t *testing.T) {
	for y := 1800; y < 2200; y++ {
		for _, c := range []struct {
			day         forecast.Date
			weekday     time.Weekday
			month       time.Month
			first, last int
		}{
			{MemorialDay(y), time.Monday, time.May, 25, 31},
			{LaborDay(y), time.Monday, time.September, 1, 7},
			{Thanksgiving(y), time.Thursday, time.November, 22, 28},
			{IndependenceDay(y), IndependenceDay(y).Weekday(), time.July, 4, 4},
		} {
			d := c.day.Time()
			if d.Weekday() != c.weekday || d.Month() != c.month || d.Day() < c.first || d.Day() > c.last || d.Year() != y {
				t.Errorf("%v: want a %v from %d to %d %v %d", c.day, c.weekday, c.first, c.last, c.month, y)
			}
		}
	}
}

func TestAround(t *testing.T) {
	// New Year's Eve 2025 lies in the week of Monday 29 December, which ends in 2026.
	eve := forecast.NewDate(2025, time.December, 31)
	for name, o := range map[string]Occasion{
		"on":     On(forecast.NewDate(2030, 1, 1), eve),
		"yearly": Yearly(func(y int) forecast.Date { return forecast.NewDate(y, time.December, 31) }),
	} {
		r := Around("eve", o)
		if r[0].Name != "before eve" || r[1].Name != "eve" || r[2].Name != "after eve" {
			t.Errorf("have names %q, %q, %q", r[0].Name, r[1].Name, r[2].Name)
		}
		for week := -2; week <= 2; week++ {
			start := forecast.NewDate(2025, time.December, 29) + forecast.Date(7*week)
			for i, at := range []int{-1, 0, 1} {
				want := map[bool]float64{true: 1}[week == at]
				if have := r[i].At(start, 7); have != want {
					t.Errorf("%s, week %v, %q: want %v, have %v", name, start, r[i].Name, want, have)
				}
			}
		}
	}
	first, last := On(eve)(eve, eve+6), On(eve)(eve-6, eve)
	if !first || !last || On(eve)(eve+1, eve+7) || On(eve)(eve-7, eve-1) {
		t.Error("want both ends of the step included, and no more")
	}
}
