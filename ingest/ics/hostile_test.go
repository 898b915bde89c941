package ics

import (
	"strings"
	"testing"
	"time"
)

// Rules that never come true give no days, and take long to be found out: a
// calendar full of them is refused.
func TestRulesWithoutDays(t *testing.T) {
	never := "UID:1\nSUMMARY:x\nDTSTART;VALUE=DATE:20090101\nRRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"
	events := make([]string, 10_000)
	for i := range events {
		events[i] = never
	}
	start := time.Now()
	if _, err := Text(strings.NewReader(calendar(events...)), "", time.UTC, latest); err == nil || !strings.Contains(err.Error(), "recur on no day") {
		t.Errorf("have %v", err)
	}
	t.Log("refused in", time.Since(start))
	if got := read(t, calendar(never)); got != "" {
		t.Errorf("have %s", got)
	}
}
