package ics

import (
	"runtime"
	"strings"
	"testing"
	"time"
)

// events gives a calendar of n events that say the same.
func events(n int, event string) string {
	return calendar(strings.Repeat(event+"\nEND:VEVENT\nBEGIN:VEVENT\n", n-1) + event)
}

// Calendars made to harm are refused in little memory; the times are
// in the log (before there were limits, from 3 s to more than 20 s).
func TestHostile(t *testing.T) {
	const (
		head  = "UID:1\nSUMMARY:x\nDTSTART;VALUE=DATE:"
		never = ";BYMONTH=2;BYMONTHDAY=30"
	)
	for name, c := range map[string]struct{ text, says string }{
		"rules that never come true":      {events(1000, head+"20090101\nRRULE:FREQ=DAILY"+never), "6000 years"},
		"rules that hardly ever do":       {events(1000, head+"20080229\nRRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=29;BYDAY=FR"), "6000 years"},
		"rules from long ago":             {events(4, head+"00010101\nRRULE:FREQ=YEARLY"+never), "6000 years"},
		"a rule with an endless list":     {events(1, head+"20260101\nRRULE:FREQ=DAILY;BYMONTHDAY=30"+strings.Repeat(",30", 1_000_000)), "RRULE"},
		"a property with many parameters": {events(1, "UID:1\nSUMMARY"+strings.Repeat(";A=b", 900_000)+":x"), "SUMMARY"},
		"a line folded a million times":   {events(1, "UID:1\nSUMMARY:x"+strings.Repeat("\n a", 1_000_000)), "SUMMARY"},
		"many days put in":                {events(1, head+"20260101\nRDATE;VALUE=DATE:20260102"+strings.Repeat(",20260102", 400_000)), "RDATE"},
		"alarms within alarms":            {events(1, strings.Repeat("BEGIN:VALARM\n", 200_000)+"UID:1"), "need an iCalendar file"},
		"many events":                     {events(55_000, head+"20260101"), "5000 events"},
	} {
		if len(c.text) > maxBytes {
			t.Fatalf("%s: it is refused for its size", name)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		_, err := Text(strings.NewReader(c.text), "", time.UTC, latest)
		took := time.Since(start)
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: want %q, have %v", name, c.says, err)
		}
		megabytes := (after.TotalAlloc - before.TotalAlloc) >> 20
		if megabytes > 100 && !testing.Short() { // the race detector takes more
			t.Errorf("%s: want 100 MB at most, have %d", name, megabytes)
		}
		t.Logf("%s: %v, %d MB", name, took, megabytes)
	}
}

// A rule longer than people write is left to be mended.
func TestLongRule(t *testing.T) {
	got := read(t, events(1, "UID:1\nSUMMARY:x\nDTSTART;VALUE=DATE:20260101\nRRULE:FREQ=DAILY;BYMONTHDAY=30"+strings.Repeat(",30", 5000)))
	if !strings.HasSuffix(got, `which can't be read",`) {
		t.Errorf("have %.300s", got)
	}
}

// What is left out doesn't count: a rule without days gives none, and the
// lines of alarms, time zones and descriptions are none of the event's.
func TestLeftOut(t *testing.T) {
	if got := read(t, events(3, "UID:1\nSUMMARY:x\nDTSTART;VALUE=DATE:20090101\nRRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30")); got != "" {
		t.Errorf("have %s", got)
	}
	text := calendar("UID:1\nSUMM\n ARY:An\n\tsel\nDTSTART;VALUE=DATE:20260302\nDESCRIPTION:" + strings.Repeat("long", 10_000) + "\nBEGIN:VALARM\nSUMMARY:Brika\nDURATION:P9D\nEND:VALARM\nDURATION:P2D")
	text = strings.Replace(text, "BEGIN:VEVENT", "BEGIN:VTIMEZONE\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\nBEGIN:VTODO\r\nUID:2\r\nEND:VTODO\r\nBEGIN:VEVENT", 1)
	if got, want := read(t, text), "Ansel,2026-03-02,2026-03-03"; got != want {
		t.Errorf("have %s, need %s", got, want)
	}
}
