package desk

import (
	"testing"

	"freshet/capacity"
)

func TestLastButOneOpenDay(t *testing.T) {
	for open, want := range map[string]string{
		UsualWeek: "Thursday", "mon tue wed fri": "Wednesday", "tue wed thu fri sat=0.5": "Friday", "sat sun": "Saturday", "wed": "Wednesday",
	} {
		week, err := ParseWeek(open)
		if have := lastButOne(capacity.Calendar{Week: week}).String(); have != want || err != nil {
			t.Errorf("%s: want %s, have %s, %v", open, want, have, err)
		}
	}
}
