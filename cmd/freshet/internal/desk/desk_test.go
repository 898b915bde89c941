package desk_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/capacity"
	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/forecast/workload"
	"freshet/ingest"
	"freshet/ingest/demo"
	"freshet/ingest/store"
)

var asOf = forecast.NewDate(2026, 11, 23)

func ask(d forecast.Date) desk.Ask { return desk.Ask{AsOf: d, Weeks: 13, Seed: desk.Seed(d)} }

func empty(t testing.TB) *desk.Desk {
	t.Helper()
	db, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return &desk.Desk{Store: db, Draws: few}
}

// few draws are enough for tests that ask what follows from what, not how
// likely it is.
const few = 32

// shop is the invented shop's desk, with the records that keep lets through;
// nil lets all. Its answers come of few draws.
func shop(t testing.TB, keep func(ingest.Record) bool) *desk.Desk {
	t.Helper()
	if keep == nil {
		d := desk.UsualDesk(t)
		d.Draws = few
		return d
	}
	d := empty(t)
	for _, f := range demo.Generate(desk.Usual).Files() {
		var text bytes.Buffer
		if err := f.Write(&text); err != nil {
			t.Fatal(err)
		}
		take(t, d, f.Name, ingest.RowKind(f.Kind), text.String(), keep)
	}
	return d
}

// kept lets only some records through.
type kept struct {
	*ingest.Reader
	keep func(ingest.Record) bool
}

func (k kept) Next() bool {
	for k.Reader.Next() {
		if k.Reject() != nil || k.keep(k.Record()) {
			return true
		}
	}
	return false
}

func take(t testing.TB, d *desk.Desk, name string, kind ingest.RowKind, text string, keep func(ingest.Record) bool) {
	t.Helper()
	sheet, err := ingest.Open(name, strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, kind), asOf+1)
	if err != nil {
		t.Fatal(err)
	}
	if keep == nil {
		keep = func(ingest.Record) bool { return true }
	}
	b, err := d.Store.Import(context.Background(), store.Batch{File: name, Kind: kind, TakenIn: time.Unix(0, 0)}, kept{rows, keep}, nil)
	if err != nil || b.Rejected > 0 {
		t.Fatal(b.Rejects, err)
	}
}

func answers(t testing.TB, d *desk.Desk, a desk.Ask) string {
	t.Helper()
	ctx := context.Background()
	o, err := d.Outlook(ctx, a)
	if err != nil {
		t.Fatal(err)
	}
	c, err := d.Crew(ctx, a, capacity.WhatIf{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := d.Report(ctx, a, "test")
	if err != nil {
		t.Fatal(err)
	}
	q, err := d.Quote(ctx, a, desk.Inquiry{Kind: "electrical", PartsDays: -1})
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal([]any{o, c, r, q})
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A shop that kept all its records answers about a past day as one whose
// records end the evening before: nothing later leaks in. Jobs that were
// finished later are open, with the status and hours that nobody knew then
// taken away.
func TestNothingLaterLeaksIn(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	then := forecast.NewDate(2025, 7, 16)
	whole := shop(t, nil)
	cut := shop(t, func(r ingest.Record) bool {
		j, ok := r.(*ingest.DropOff)
		if !ok {
			return true
		}
		if j.DroppedOff >= then {
			return false
		}
		if !j.Ready.Valid || j.Ready.V >= then {
			j.Ready, j.PickedUp = ingest.Opt[forecast.Date]{}, ingest.Opt[forecast.Date]{}
			j.ClockedHours, j.BilledHours = ingest.Opt[float64]{}, ingest.Opt[float64]{}
			if j.PartsWaitDays.Valid && j.DroppedOff+forecast.Date(j.PartsWaitDays.V) >= then {
				j.Status, j.PartsWaitDays = store.WaitingForParts, ingest.Opt[float64]{}
			} else {
				j.Status = ""
			}
		}
		return true
	})
	if a, b := answers(t, whole, ask(then)), answers(t, cut, ask(then)); a != b {
		t.Errorf("the answers differ:\n%.400s\n%.400s", a, b)
	}
}

func TestSameQuestionSameAnswer(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	d := shop(t, nil)
	first := answers(t, d, ask(asOf))
	if again := answers(t, d, ask(asOf)); first != again {
		t.Error("two answers to one question")
	}
	other := ask(asOf)
	other.Seed++
	if first == answers(t, d, other) {
		t.Error("the seed has no say")
	}
}

func TestKindsAddUp(t *testing.T) {
	o, err := shop(t, nil).Outlook(context.Background(), ask(asOf))
	if err != nil {
		t.Fatal(err)
	}
	if len(o.Weeks) != 13 || len(o.Kinds) != 8 || o.Weeks[0].Week != asOf {
		t.Fatalf("want 13 weeks from %v and 8 kinds, have %d from %v and %d", asOf, len(o.Weeks), o.Weeks[0].Week, len(o.Kinds))
	}
	for j, w := range o.Weeks {
		n, h := 0.0, 0.0
		for _, k := range o.Kinds {
			n += k.Weeks[j].DropOffs.Mean
			h += k.Weeks[j].Hours.Mean
		}
		if math.Abs(n-w.DropOffs.Mean) > 1e-9 || math.Abs(h-w.Hours.Mean) > 1e-6 {
			t.Errorf("week %v: kinds bring %v and %v h, the whole %v and %v h", w.Week, n, h, w.DropOffs.Mean, w.Hours.Mean)
		}
		if s := w.Hours; !(s.P10 <= s.P50 && s.P50 <= s.P80 && s.P80 <= s.P90) {
			t.Errorf("week %v: quantiles out of order: %+v", w.Week, s)
		}
	}
}

// Hours are available by hand: 40, 40, 40 and 36 paid hours at the shares of
// the demo's crew file, less a week's time off and closed days.
func TestCrewHours(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	d := shop(t, nil)
	a := ask(forecast.NewDate(2025, 6, 2)) // a week without holiday or time off
	c, err := d.Crew(context.Background(), a, capacity.WhatIf{})
	if err != nil {
		t.Fatal(err)
	}
	want := 40*(.88+.86+.84) + 36*.85
	if w := c.Weeks[0]; math.Abs(w.AvailableHours-want) > 1e-9 || w.PaidHours != 156 {
		t.Errorf("want %v of 156 h, have %v of %v", want, w.AvailableHours, w.PaidHours)
	}
	if w := c.Weeks[4]; math.Abs(w.AvailableHours-want*4/5) > 1e-9 { // the week of July 4
		t.Errorf("want %v h in the week of July 4, have %v", want*4/5, w.AvailableHours)
	}
	more, err := d.Crew(context.Background(), a, capacity.WhatIf{AddTech: 1})
	if err != nil {
		t.Fatal(err)
	}
	for j := range c.Weeks {
		if more.Weeks[j].AvailableHours <= c.Weeks[j].AvailableHours && c.Weeks[j].AvailableHours > 0 || more.Weeks[j].BacklogHours.P50 > c.Weeks[j].BacklogHours.P50 {
			t.Errorf("week %d: one technician more gives %v h and leaves %v h", j, more.Weeks[j].AvailableHours, more.Weeks[j].BacklogHours.P50)
		}
	}
}

func TestWhatIsMissingIsSaid(t *testing.T) {
	ctx := context.Background()
	d := empty(t)
	if _, err := d.Outlook(ctx, ask(asOf)); !errors.Is(err, workload.ErrNoRecords) {
		t.Errorf("want a word on an empty shop, have %v", err)
	}
	if _, err := d.Outlook(ctx, desk.Ask{AsOf: asOf, Weeks: 105}); err == nil {
		t.Error("want a refusal of 105 weeks")
	}
	var text strings.Builder
	text.WriteString("ro_number,dropped_off,kind\n")
	for i := range 300 {
		fmt.Fprintf(&text, "%d,%v,<em>UHOH</em>\n", i, asOf-1-forecast.Date(3*i))
	}
	take(t, d, "drop-offs.csv", ingest.DropOffs, text.String(), nil)
	o, err := d.Outlook(ctx, ask(asOf))
	if err != nil {
		t.Fatal(err)
	}
	if o.Weeks[0].Hours.Known() || !strings.Contains(strings.Join(o.Warnings, " "), "hours") {
		t.Errorf("want hours not known, and a word on it, have %+v, %v", o.Weeks[0].Hours, o.Warnings)
	}
	j, err := json.Marshal(o.Weeks[0].Hours)
	if err != nil || string(j) != `{"mean":null,"p10":null,"p50":null,"p80":null,"p90":null}` {
		t.Errorf("want nulls, have %s, %v", j, err)
	}
	if _, err := d.Crew(ctx, ask(asOf), capacity.WhatIf{}); !errors.Is(err, desk.ErrNoCrew) {
		t.Errorf("want a word on the missing crew, have %v", err)
	}
	r, err := d.Report(ctx, ask(asOf), "test")
	if err != nil || r.Weeks[0].Crew != nil || !strings.Contains(strings.Join(r.Warnings, " "), "crew") {
		t.Errorf("want a report without the crew's side, and a word on it, have %+v, %v", r.Warnings, err)
	}
	take(t, d, "crew.csv", ingest.Crew, "name,weekly_hours\nOda,40\n", nil)
	if _, err := d.Crew(ctx, ask(asOf), capacity.WhatIf{}); !errors.Is(err, desk.ErrNoHours) {
		t.Errorf("want a word on missing hours, have %v", err)
	}
}

// On one row, three weeks and a year of records there is an answer, finite and
// with a doubt.
func TestShortHistories(t *testing.T) {
	for _, days := range []int{1, 5, 21, 120, 400} {
		d := empty(t)
		var text strings.Builder
		text.WriteString("ro_number,dropped_off,kind,quoted_hours,ready\n")
		for i := range days {
			fmt.Fprintf(&text, "%d,%v,plumbing,2,%v\n", i, asOf-forecast.Date(i+2), asOf-1)
		}
		take(t, d, "drop-offs.csv", ingest.DropOffs, text.String(), nil)
		o, err := d.Outlook(context.Background(), ask(asOf))
		if err != nil {
			t.Errorf("%d days: %v", days, err)
			continue
		}
		for _, w := range o.Weeks {
			if !w.DropOffs.Known() || w.DropOffs.P90 > 500 || w.DropOffs.P10 < 0 {
				t.Errorf("%d days: %+v", days, w)
			}
		}
		if days < 300 && len(o.Warnings) == 0 {
			t.Errorf("%d days: no doubt is said", days)
		}
	}
}

func TestScore(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	a := ask(asOf)
	s, err := shop(t, nil).Score(context.Background(), a, desk.UsualOrigins)
	if err != nil {
		t.Fatal(err)
	}
	if s.DropOffs.Origins < 20 || len(s.Kinds) != 8 {
		t.Errorf("want 20 origins or more and 8 kinds, have %d and %d", s.DropOffs.Origins, len(s.Kinds))
	}
	for name, of := range map[string]desk.ScoreOf{"drop-offs": s.DropOffs, "hours": s.Hours} {
		t.Logf("%s: %d origins, MASE %.3f (last year %.3f), WAPE %.3f (%.3f), ratio %.3f, 80 %% range held %.3f", name, of.Origins, *of.MASE, *of.LastYearMASE, *of.WAPE, *of.LastYearWAPE, *of.RatioToLastYear, *of.Coverage80)
		if *of.RatioToLastYear >= .9 {
			t.Errorf("%s: want clearly less error than the same week last year, have %.2f of it", name, *of.RatioToLastYear)
		}
		if *of.Coverage80 < .7 || *of.Coverage80 > .92 {
			t.Errorf("%s: the 80 %% range held %.2f", name, *of.Coverage80)
		}
	}
	// The odd year is seen by the looks back, each by what was known then; and
	// most of what is alarmed at is borne out.
	t.Logf("%+v", s.Alerts)
	if a := s.Alerts; a.Weeks != 104 || a.Alerts == 0 || a.FalsePerYear > 6 || a.FalsePerYear*2 > float64(a.Alerts) {
		t.Errorf("want 104 weeks, some alerts and few that weren't borne out, have %+v", a)
	}
}

// BenchmarkReport measures a report of the demo shop from its database.
func BenchmarkReport(b *testing.B) {
	d := shop(b, nil)
	for b.Loop() {
		if _, err := d.Report(context.Background(), ask(asOf), "test"); err != nil {
			b.Fatal(err)
		}
	}
}
