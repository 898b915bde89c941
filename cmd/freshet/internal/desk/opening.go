package desk

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Names of settings of when and for how many the shop is open.
const (
	SettingOpen = "shop.open"
	SettingBays = "shop.bays"
)

// UsualWeek is the opening of a shop that hasn't said.
const UsualWeek = "mon tue wed thu fri"

// ParseWeek reads the days on which the shop opens, such as "mon tue wed thu
// fri sat=0.5", as shares of a usual day by time.Weekday.
func ParseWeek(text string) (week [7]float64, err error) {
	any := false
	for _, part := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r == ' ' || r == ',' }) {
		name, share, given := strings.Cut(part, "=")
		v := 1.0
		if given {
			if v, err = strconv.ParseFloat(share, 64); err != nil || !(v > 0 && v <= 1) {
				return week, fmt.Errorf("need a share of a day above 0 to 1 after %s=, have %q", name, share)
			}
		}
		found := false
		for d := time.Sunday; d <= time.Saturday; d++ {
			if full := strings.ToLower(d.String()); len(name) >= 3 && strings.HasPrefix(full, name) {
				week[d], found, any = v, true, true
			}
		}
		if !found {
			return week, fmt.Errorf("need days such as mon, tue or sat=0.5 for half a day, have %q", part)
		}
	}
	if !any {
		return week, fmt.Errorf("need at least one day on which the shop opens, have %q", text)
	}
	return week, nil
}

// ParseBays reads how many technicians can work at once, 0 for no limit.
func ParseBays(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > 1000 {
		return 0, fmt.Errorf("need a number of bays from 0 (no limit) to 1000, have %q", text)
	}
	return n, nil
}
