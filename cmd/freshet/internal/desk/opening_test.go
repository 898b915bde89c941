package desk_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
)

func TestParseWeek(t *testing.T) {
	for text, want := range map[string][7]float64{
		desk.UsualWeek:             {0, 1, 1, 1, 1, 1, 0},
		"Tuesday, Sat=0.5":         {0, 0, 1, 0, 0, 0, .5},
		"mon,tue  wed thu fri=.75": {0, 1, 1, 1, 1, .75, 0},
	} {
		if have, err := desk.ParseWeek(text); err != nil || have != want {
			t.Errorf("%q: want %v, have %v, %v", text, want, have, err)
		}
	}
	for _, text := range []string{"", "m", "mon=0", "mon=2", "mon=x", "someday"} {
		if have, err := desk.ParseWeek(text); err == nil {
			t.Errorf("%q is taken for %v", text, have)
		}
	}
	for _, text := range []string{"", "-1", "two", "2.5"} {
		if have, err := desk.ParseBays(text); err == nil {
			t.Errorf("%q is taken for %v", text, have)
		}
	}
}

func TestParseHolidays(t *testing.T) {
	for text, want := range map[string]string{
		"christmas; THANKSGIVING":    "Thanksgiving Day, Christmas Day",
		"Day after Thanksgiving":     "Day after Thanksgiving",
		"labor day, labor":           "Labor Day",
		"None":                       "none",
		desk.UsualHolidays():         desk.UsualHolidays(),
		"New Year’s Day, Juneteenth": "New Year's Day, Juneteenth",
	} {
		if have, err := desk.ParseHolidays(text); err != nil || desk.WriteHolidays(have) != want {
			t.Errorf("%q: want %s, have %v, %v", text, want, have, err)
		}
	}
	for _, text := range []string{"", ",", "Easter Bunny Day", "day", "Christmas, x"} {
		if have, err := desk.ParseHolidays(text); err == nil {
			t.Errorf("%q is taken for %v", text, have)
		}
	}
}

// A shop that is open on Thanksgiving has its hours.
func TestHolidays(t *testing.T) {
	d := empty(t)
	closed := forecast.NewDate(2026, 11, 26)
	open := func() float64 {
		t.Helper()
		c, err := d.Calendar(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return c.OpenDays(closed.Monday(), closed.Monday()+7)
	}
	if open() != 3 {
		t.Errorf("have %v days", open())
	}
	if err := d.Store.Set(t.Context(), desk.SettingHolidays, "Christmas Day"); err != nil || open() != 5 {
		t.Errorf("have %v days, %v", open(), err)
	}
	if err := d.Store.Set(t.Context(), desk.SettingHolidays, "Doomsday"); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Calendar(t.Context()); err == nil || !strings.Contains(err.Error(), "shop.holidays") {
		t.Errorf("have %v", err)
	}
}

// Four technicians in two bays work half their hours, on four and a half days
// as many as on five.
func TestOpeningAndBays(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	d := shop(t, nil)
	ctx := context.Background()
	for name, v := range map[string]string{desk.SettingOpen: "mon tue wed thu fri=0.5", desk.SettingBays: "2"} {
		if err := d.Store.Set(ctx, name, v); err != nil {
			t.Fatal(err)
		}
	}
	want := (40*(.88+.86+.84) + 36*.85) / 2
	c := crew(t, d, ask(forecast.NewDate(2025, 6, 2)), capacity.WhatIf{}) // a week without holiday or time off
	if w := c.Weeks[0]; math.Abs(w.AvailableHours-want) > 1e-9 {
		t.Errorf("want %v h, have %v", want, w.AvailableHours)
	}
	if w := c.Weeks[4]; math.Abs(w.AvailableHours-want*4/4.5) > 1e-9 { // July 4 is a Friday: half a day less
		t.Errorf("want %v h in the week of July 4, have %v", want*4/4.5, w.AvailableHours)
	}
}
