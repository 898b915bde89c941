package ics

import (
	"strings"
	"testing"
	"time"

	"freshet/forecast"
)

func calendar(events ...string) string {
	text := "BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//test//EN\n"
	for _, e := range events {
		text += "BEGIN:VEVENT\n" + e + "\nEND:VEVENT\n"
	}
	return strings.ReplaceAll(text+"END:VCALENDAR\n", "\n", "\r\n")
}

var latest = forecast.NewDate(2026, 11, 26)

func read(t *testing.T, text string) string {
	t.Helper()
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	out, err := Text(strings.NewReader(text), "", denver, latest)
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.TrimPrefix(string(out), "name,from,until\n")
	return strings.ReplaceAll(strings.TrimSpace(rows), "\n", " ")
}

// The days are counted by hand on a calendar.
func TestText(t *testing.T) {
	for name, c := range map[string]struct{ events, want string }{
		"the end of whole days is exclusive":  {"UID:1\nSUMMARY:Ansel\nDTSTART;VALUE=DATE:20260302\nDTEND;VALUE=DATE:20260307", "Ansel,2026-03-02,2026-03-06"},
		"no end is one day":                   {"UID:1\nSUMMARY:Ansel\nDTSTART;VALUE=DATE:20260302", "Ansel,2026-03-02,2026-03-02"},
		"an end on the same day is one day":   {"UID:1\nSUMMARY:Ansel\nDTSTART;VALUE=DATE:20260302\nDTEND;VALUE=DATE:20260302", "Ansel,2026-03-02,2026-03-02"},
		"a duration":                          {"UID:1\nSUMMARY:Ansel\nDTSTART;VALUE=DATE:20260302\nDURATION:P1W", "Ansel,2026-03-02,2026-03-08"},
		"Outlook's zone names":                {"UID:1\nSUMMARY:Brika\nDTSTART;TZID=Mountain Standard Time:20260302T080000\nDTEND;TZID=Mountain Standard Time:20260303T170000", "Brika,2026-03-02,2026-03-03"},
		"until midnight is not the next day":  {"UID:1\nSUMMARY:Brika\nDTSTART:20260302T000000\nDTEND:20260304T000000", "Brika,2026-03-02,2026-03-03"},
		"an instant is on the shop's clock":   {"UID:1\nSUMMARY:Brika\nDTSTART:20260303T010000Z\nDTEND:20260303T093000Z", "Brika,2026-03-02,2026-03-03"},
		"a part of a day is no day":           {"UID:1\nSUMMARY:Corin\nDTSTART:20260302T100000\nDTEND:20260302T120000", "Corin,takes part of 2026-03-02 only,"},
		"cancelled":                           {"UID:1\nSUMMARY:Corin\nSTATUS:CANCELLED\nDTSTART;VALUE=DATE:20260302", ""},
		"cancelled, in small letters":         {"UID:1\nSUMMARY:Corin\nSTATUS:cancelled\nDTSTART;VALUE=DATE:20260302", ""},
		"until a day, that day included":      {"UID:1\nSUMMARY:Corin\nDTSTART:20260302T080000\nDTEND:20260302T170000\nRRULE:FREQ=DAILY;UNTIL=20260303", "Corin,2026-03-02,2026-03-02 Corin,2026-03-03,2026-03-03"},
		"a comma and a comment in a name":     {"UID:1\nSUMMARY:Corin\\, away\nDTSTART;VALUE=DATE:20260302", `"Corin, away",2026-03-02,2026-03-02`},
		"a rule with a day taken out":         {"UID:1\nSUMMARY:shop\nDTSTART;VALUE=DATE:20260302\nRRULE:FREQ=WEEKLY;COUNT=4\nEXDATE;VALUE=DATE:20260309", "shop,2026-03-02,2026-03-02 shop,2026-03-16,2026-03-16 shop,2026-03-23,2026-03-23"},
		"a day taken out by time":             {"UID:1\nSUMMARY:shop\nDTSTART;TZID=America/Denver:20260302T080000\nDTEND;TZID=America/Denver:20260302T170000\nRRULE:FREQ=WEEKLY;UNTIL=20260310T000000Z\nEXDATE;TZID=America/Denver:20260302T080000", "shop,2026-03-09,2026-03-09"},
		"a day put in, once":                  {"UID:1\nSUMMARY:shop\nDTSTART;VALUE=DATE:20260302\nRDATE;VALUE=DATE:20260304,20260302", "shop,2026-03-02,2026-03-02 shop,2026-03-04,2026-03-04"},
		"the fourth Thursday of November":     {"UID:1\nSUMMARY:shop\nDTSTART;VALUE=DATE:20251127\nRRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=4TH", "shop,2025-11-27,2025-11-27 shop,2026-11-26,2026-11-26 shop,2027-11-25,2027-11-25 shop,2028-11-23,2028-11-23"},
		"a rule by the minute is not read":    {"UID:1\nSUMMARY:shop\nDTSTART:20260302T000000\nDTEND:20260303T000000\nRRULE:FREQ=MINUTELY", `shop,"repeats by ""FREQ=MINUTELY"", which can't be read",`},
		"an end before the start":             {"UID:1\nSUMMARY:Ansel\nDTSTART;VALUE=DATE:20260302\nDTEND;VALUE=DATE:20260301", "Ansel,ends before it begins,"},
		"a clock change within does not move": {"UID:1\nSUMMARY:Ansel\nDTSTART;TZID=America/Denver:20260307T080000\nDTEND;TZID=America/Denver:20260307T170000\nRRULE:FREQ=DAILY;COUNT=2", "Ansel,2026-03-07,2026-03-07 Ansel,2026-03-08,2026-03-08"},
	} {
		if got := read(t, calendar(c.events)); got != c.want {
			t.Errorf("%s:\nhave %s\nneed %s", name, got, c.want)
		}
	}
	moved := calendar("UID:7\nSUMMARY:shop\nDTSTART;VALUE=DATE:20260302\nRRULE:FREQ=WEEKLY;COUNT=2",
		"UID:7\nSUMMARY:shop\nRECURRENCE-ID;VALUE=DATE:20260309\nDTSTART;VALUE=DATE:20260310")
	if got, want := read(t, moved), "shop,2026-03-02,2026-03-02 shop,2026-03-10,2026-03-10"; got != want {
		t.Errorf("a moved day: have %s, need %s", got, want)
	}
}

func TestRefused(t *testing.T) {
	for name, text := range map[string]string{
		"no calendar":      "name,from\n",
		"too large":        "BEGIN:VCALENDAR\r\n" + strings.Repeat("X-A:b\r\n", maxBytes/7+1),
		"days without end": calendar("UID:1\nSUMMARY:x\nDTSTART;VALUE=DATE:19000101\nRRULE:FREQ=DAILY"),
	} {
		if out, err := Text(strings.NewReader(text), "", time.UTC, latest); err == nil {
			t.Errorf("%s: have %.80q", name, out)
		}
	}
}

func FuzzText(f *testing.F) {
	f.Add(calendar("UID:1\nSUMMARY:a\nDTSTART;VALUE=DATE:20260302\nRRULE:FREQ=WEEKLY;COUNT=4\nEXDATE;VALUE=DATE:20260309"))
	f.Add(calendar("UID:1\nDTSTART:20260302T100000Z\nDURATION:P1DT2H\nRDATE:20260304T000000/P1D"))
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 4096 {
			return
		}
		out, err := Text(strings.NewReader(text), "", time.UTC, latest)
		if err == nil && !strings.HasPrefix(string(out), "name,from,until\n") {
			t.Errorf("have %q", out)
		}
	})
}
