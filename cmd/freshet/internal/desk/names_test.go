package desk

import (
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest/store"
)

// Which notes are on which alerts, and what alerts are called.
func TestNamesOfAlerts(t *testing.T) {
	at := forecast.NewDate(2026, 8, 5)
	alert := func(rule, kind string, began forecast.Date, observed float64) Alert {
		return Alert{Rule: rule, Kind: kind, Began: began, Observed: observed, Expected: 5}
	}
	worn := func(a Alert) Alert { a.Failure = "worn"; return a }
	note := alert("week", "A/C unit", at, 9).Noted(Note{Because: "a storm", Until: at + 60}, time.Time{})
	note.Alert = "week-a-c-unit-2026-08-03"
	for name, c := range map[string]struct {
		a    Alert
		want bool
	}{
		"itself":                   {alert("week", "A/C unit", at, 9), true},
		"gone on":                  {alert("run", "A/C unit", at-14, 9), true},
		"within its days":          {alert("run", "A/C unit", at+56, 9), true},
		"long before":              {alert("run", "A/C unit", at-28, 9), false},
		"after":                    {alert("run", "A/C unit", at+70, 9), false},
		"fewer, where it was more": {alert("run", "A/C unit", at, 2), false},
		"another kind":             {alert("run", everything, at, 9), false},
		"a failure":                {worn(alert("week", "A/C unit", at, 9)), false},
		"another rule":             {alert("kind", "A/C unit", at, 9), false},
	} {
		alerts := []Alert{c.a}
		identify(alerts, []store.AlertNote{note})
		if have := alerts[0].Note != nil; have != c.want || have != (alerts[0].ID == note.Alert) {
			t.Errorf("%s: have %s, %v", name, alerts[0].ID, alerts[0].Note)
		}
	}
	twice := []Alert{alert("gap", everything, at, 0), alert("gap", everything, at+1, 9)}
	identify(twice, nil)
	if twice[0].ID != "gap-2026-08-03" || twice[1].ID != "gap-2026-08-03-2" {
		t.Errorf("have %s and %s", twice[0].ID, twice[1].ID)
	}
	seen := note
	seen.Because = ""
	for _, notes := range [][]store.AlertNote{{seen, note}, {note, seen}} {
		alerts := []Alert{alert("week", "A/C unit", at, 9)}
		if identify(alerts, notes); alerts[0].Note.Because != "a storm" {
			t.Errorf("having been seen hides the explanation: %v", alerts[0].Note)
		}
	}
}
