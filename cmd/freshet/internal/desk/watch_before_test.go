package desk_test

import (
	"encoding/json"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
)

// What kept reports told is one entry a cause, in the words of the last report
// that told it from its first day on, with what is said of it now; without what
// stands, what came later and what is older than a year.
func TestLookBack(t *testing.T) {
	ctx := t.Context()
	db, err := store.Open(ctx, filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	d := desk.Desk{Store: db}
	day := forecast.NewDate(2026, 11, 25) // a Wednesday
	look := func(w desk.Watch) desk.LookBack {
		t.Helper()
		b, err := d.LookBack(ctx, w)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if b := look(desk.Watch{AsOf: day}); b.KeptSince != nil || b.Before == nil || len(b.Before) != 0 {
		t.Errorf("without reports: have %+v", b)
	}
	aug := func(n int) forecast.Date { return forecast.NewDate(2026, 8, n) }
	at := func(id, rule, kind string, since forecast.Date, lead string) report.Alert {
		return report.Alert{ID: id, Rule: rule, Kind: kind, Since: since, Lead: lead, Summary: lead + " Call someone.", Note: "Kept then."}
	}
	flood, cooling := "run-2026-08-03", "kind-cooling-2026-08-03"
	for _, k := range []struct {
		asOf forecast.Date
		told []report.Alert
	}{
		{day - 53*forecast.Week, []report.Alert{at("", "run", "all", day-60*forecast.Week, "Long ago.")}},
		{forecast.NewDate(2026, 2, 4), nil},
		{aug(10), []report.Alert{at("week-2026-08-03", "week", "all", aug(3), "One week.")}},
		{aug(17), []report.Alert{at("gap-2026-08-12", "gap", "all", aug(12), "Told on Monday, mended by Friday.")}},
		{aug(21), []report.Alert{at(flood, "run", "all", aug(3), "Two weeks."), at(cooling, "kind", "cooling", aug(3), "Cooling.")}},
		{aug(24), []report.Alert{at(flood, "run", "all", aug(3), "Three weeks."), at("", "season", "all", aug(1), "Of a report without names.")}},
		{aug(31), []report.Alert{at(flood, "run", "all", aug(17), "Its end."), at("season-2026-07-27", "season", "all", aug(1), "Late.")}},
		{day, []report.Alert{at("kind-electrical-2026-11-02", "kind", "electrical", forecast.NewDate(2026, 11, 2), "It stands.")}},
		{day + 1, []report.Alert{at("run-2026-11-23", "run", "all", day, "Not known yet.")}},
	} {
		text, err := json.Marshal(report.Report{Facts: report.Facts{Alerts: k.told}})
		if err != nil {
			t.Fatal(err)
		}
		if err := db.KeepRun(ctx, store.Run{AsOf: k.asOf, DataUntil: k.asOf, Report: text}); err != nil {
			t.Fatal(err)
		}
	}
	for _, n := range []store.AlertNote{{Because: "a storm"}, {}} { // seen after it was explained
		n.Alert, n.Rule, n.Kind, n.Began, n.From, n.Until, n.On, n.Who, n.At = flood, "run", "all", aug(3), aug(3), aug(30), aug(31), "owner", time.Unix(1e9, 0)
		if err := db.KeepNote(ctx, n); err != nil {
			t.Fatal(err)
		}
	}
	type entry struct{ says, told string }
	check := func(w desk.Watch, since forecast.Date, want ...entry) {
		t.Helper()
		b := look(w)
		var have []entry
		for _, x := range b.Before {
			have = append(have, entry{x.Says(), x.Told(w.AsOf)})
		}
		if !reflect.DeepEqual(have, want) || *b.KeptSince != since {
			t.Errorf("on %v: want %q, have %q since %v", w.AsOf, want, have, b.KeptSince)
		}
	}
	standing := []desk.Alert{{ID: "kind-electrical-2026-11-02", Rule: "kind", Kind: "electrical", Since: forecast.NewDate(2026, 11, 9)}}
	late := entry{"Late.", "In the reports from the week of August 24 to that of August 31."}
	stormed := entry{"Three weeks. Explained by the owner on August 31: a storm.", "In the reports from the week of August 10 to that of August 31."}
	cool := entry{"Cooling.", "In the report of the week of August 17."}
	check(desk.Watch{AsOf: day, Alerts: standing}, forecast.NewDate(2026, 2, 4), late, stormed, cool)
	check(desk.Watch{AsOf: aug(26), Alerts: []desk.Alert{{ID: flood}}}, day-53*forecast.Week,
		entry{"Of a report without names. Kept then.", "In the report of the week of August 24."}, cool, entry{"Long ago. Kept then.", "In the report of the week of November 17, 2025."})
	for range 2 {
		if _, err := db.TakeNoteBack(ctx, flood, "owner", time.Unix(2e9, 0)); err != nil {
			t.Fatal(err)
		}
	}
	stormed.says = "Three weeks."
	check(desk.Watch{AsOf: day, Alerts: standing}, forecast.NewDate(2026, 2, 4), late, stormed, cool)
}
