package capacity

import (
	"testing"

	"freshet/forecast"
)

func TestMoney(t *testing.T) {
	for v, want := range map[float64]string{4: "$0", 996: "$1,000", 12345: "$12,350", 1234567: "$1,234,570"} {
		if have := money(v); have != want {
			t.Errorf("want %s, have %s", want, have)
		}
	}
}

func TestHoursInWords(t *testing.T) {
	for v, want := range map[float64]string{-1e-9: "0 h", .4: "0 h", 12.6: "13 h"} {
		if have := hours(v); have != want {
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
