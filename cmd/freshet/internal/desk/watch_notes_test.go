package desk_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/report"
)

// The demo shop's flood of August: its alerts keep their names from week to
// week; what is said of one holds from that day on and shows on the report; and
// its weeks, said to be one-time, bend no later year.
func TestNotesOnAlerts(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds; the pages' test does the same on fewer days")
	}
	ctx, d := context.Background(), shop(t, nil)
	day := forecast.NewDate(2026, 8, 31)
	look := func(day forecast.Date) desk.Watch {
		t.Helper()
		w, err := d.Watch(ctx, ask(day))
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	first := func(w desk.Watch, rule, kind string) desk.Alert {
		t.Helper()
		for _, a := range w.Alerts {
			if a.Rule == rule && a.Kind == kind {
				return a
			}
		}
		t.Fatalf("%v: no %s of %s in %+v", w.AsOf, rule, kind, w.Alerts)
		return desk.Alert{}
	}
	before := look(day)
	run, kind := first(before, "run", "all"), first(before, "kind", "cooling")
	if want := "run-" + run.Began.String(); run.ID != want || kind.ID != "kind-cooling-"+kind.Began.String() || run.Until != day-1 {
		t.Errorf("have %s from %v to %v, and %s", run.ID, run.Began, run.Until, kind.ID)
	}
	for _, later := range []forecast.Date{day + 3, day + 7} {
		if again := first(look(later), "run", "all"); again.ID != run.ID {
			t.Errorf("on %v the name is %s, it was %s", later, again.ID, run.ID)
		}
	}
	next := func() float64 { // August of the next year, known since
		o, err := d.Outlook(ctx, desk.Ask{AsOf: day, Weeks: 52, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, w := range o.Weeks[48:] {
			sum += w.DropOffs.Mean
		}
		return sum
	}
	bent := next()
	for _, n := range []struct {
		of  desk.Alert
		say desk.Note
	}{{kind, desk.Note{}}, {run, desk.Note{Because: "a hailstorm. It was bad", OneTime: true}}} {
		n.say.On, n.say.Who = day, "owner"
		if err := d.Store.KeepNote(ctx, n.of.Noted(n.say, time.Unix(1e9, 0))); err != nil {
			t.Fatal(err)
		}
	}
	straight := next()
	t.Logf("next August brings %.1f, without this one's flood %.1f", bent, straight)
	if straight > .97*bent {
		t.Errorf("want a flood that won't come again to leave next August alone, have %.1f and %.1f with it", straight, bent)
	}
	after := look(day)
	said := first(after, "run", "all")
	if want := "Explained by the owner on August 31: a hailstorm. It was bad. The days from " + report.Day(run.Began) + " to August 30 won't bend next year's season."; said.ID != run.ID || said.Says() != said.Lead+" "+want {
		t.Errorf("want %s, have %s: %s", want, said.ID, said.Says())
	}
	if n := len(after.Alerts); after.Alerts[n-1].Kind != "cooling" || after.Alerts[n-1].Note == nil || after.Alerts[n-2].ID != run.ID {
		t.Errorf("want the explained and the seen one last, have %+v", after.Alerts)
	}
	if first(look(day-1), "run", "all").Note != nil {
		t.Error("what is said today was known yesterday")
	}
	r, err := d.Report(ctx, ask(day), "test")
	if err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(r.Headline, " "); strings.Contains(text, said.Lead) || strings.Contains(text, kind.Lead) {
		t.Errorf("the headline tells what the owner knows: %s", text)
	}
	if n := len(r.Alerts); len(r.Told()) != n-1 || !strings.Contains(r.Alerts[n-2].Says(), "a hailstorm") || !r.Alerts[n-1].Seen {
		t.Errorf("have %+v", r.Alerts)
	}
	if _, err := d.Store.TakeNoteBack(ctx, run.ID, "owner", time.Unix(1e9, 0)); err != nil {
		t.Fatal(err)
	}
	if back := next(); back != bent || first(look(day), "run", "all").Note != nil {
		t.Errorf("taken back, next August brings %.1f, not %.1f as before", back, bent)
	}
	if _, err := after.Alert("run-2020-01-06"); err == nil || !strings.Contains(err.Error(), run.ID) {
		t.Errorf("want the names that there are, have %v", err)
	}
}
