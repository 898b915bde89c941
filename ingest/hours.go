package ingest

import "fmt"

// ParseHours reads the hours of a job as somebody types them, as files are
// read: 4, 2.5, 2,5, 2:30, 2h 30m, 90 min. It says what it needs if that is no
// such thing.
func ParseHours(text string) (float64, error) {
	v, _, ok := parseHours([]byte(text), false)
	if !ok || v < 0 || v > maxHours {
		return 0, fmt.Errorf("need hours from 0 to %d, such as 4, 2.5 or 2h 30m, have %q", maxHours, text)
	}
	return v, nil
}
