package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"freshet/capacity"
	"freshet/ingest"
)

// Names of settings of when and for how many the shop is open.
const (
	SettingOpen     = "shop.open"
	SettingBays     = "shop.bays"
	SettingHolidays = "shop.holidays"
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

// UsualHolidays are those on which a shop that hasn't said closes.
func UsualHolidays() string { return WriteHolidays(capacity.DefaultHolidays()) }

// noHolidays is said of a shop that closes on none.
const noHolidays = "none"

// WriteHolidays writes holidays as ParseHolidays reads them.
func WriteHolidays(names []string) string {
	return cmp.Or(strings.Join(names, ", "), noHolidays)
}

// ParseHolidays reads the holidays on which the shop closes each year, apart by
// commas, out of capacity.KnownHolidays; "none" for none. The beginning of a
// name does, from four letters on, where it is that of one alone.
func ParseHolidays(text string) (names []string, err error) {
	if ingest.Fold(text) == noHolidays {
		return nil, nil
	}
	known := capacity.KnownHolidays()
	for part := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == ',' || r == ';' }) {
		said, fits := ingest.Fold(part), []string(nil)
		for _, name := range known {
			if f := ingest.Fold(name); f == said || len(said) >= 4 && strings.HasPrefix(f, said) {
				fits = append(fits, name)
			}
		}
		if len(fits) != 1 {
			return nil, fmt.Errorf("need holidays out of %s, or %s, have %q", strings.Join(known, ", "), noHolidays, strings.TrimSpace(part))
		}
		if !slices.Contains(names, fits[0]) {
			names = append(names, fits[0])
		}
	}
	if names == nil {
		return nil, fmt.Errorf("need holidays out of %s, or %s, have %q", strings.Join(known, ", "), noHolidays, text)
	}
	slices.SortFunc(names, func(a, b string) int { return slices.Index(known, a) - slices.Index(known, b) })
	return names, nil
}

// Calendar gives when the shop opens, by its settings and the days on which all
// of it is off.
func (d *Desk) Calendar(ctx context.Context) (capacity.Calendar, error) {
	s := &shop{}
	err := s.readCalendar(ctx, d.Store)
	return s.calendar, err
}

// ParseBays reads how many technicians can work at once, 0 for no limit.
func ParseBays(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 || n > 1000 {
		return 0, fmt.Errorf("need a number of bays from 0 (no limit) to 1000, have %q", text)
	}
	return n, nil
}
