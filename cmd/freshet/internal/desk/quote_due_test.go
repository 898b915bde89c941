package desk

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest/store"
)

// Last week's quotes are set against the days on which their orders were ready,
// by what was known on the day; those given or due at other times have no say.
func TestQuotesDue(t *testing.T) {
	ctx := t.Context()
	db, err := store.Open(ctx, filepath.Join(t.TempDir(), "shop.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	asOf := forecast.NewDate(2026, 3, 11) // a Wednesday; last week is March 2 to 8
	text := "ro_number,line,dropped_off,kind,ready\n" +
		"kept,1,2026-02-20,cooling,2026-03-03\n" +
		"late,1,2026-02-20,cooling,2026-03-03\nlate,2,2026-02-20,plumbing,2026-03-09\n" +
		"open,1,2026-02-20,cooling,2026-03-03\nopen,2,2026-02-20,cooling,\n" +
		"since,1,2026-02-20,cooling,2026-03-11\n" // ready on the day itself: not known yet
	if _, err := db.TakeIn(ctx, store.HandIn{Name: "jobs.csv", File: strings.NewReader(text), Size: int64(len(text)), As: "drop-offs"}, asOf+30, time.Unix(0, 0), nil); err != nil {
		t.Fatal(err)
	}
	day := func(d int) forecast.Date { return forecast.NewDate(2026, 3, d) }
	d := &Desk{Store: db}
	if due, err := d.quotesDue(ctx, asOf); due != nil || err != nil {
		t.Errorf("without quotes: have %+v, %v", due, err)
	}
	for _, q := range []store.Quote{
		{RO: "kept", P80: day(3)}, {RO: "late", P80: day(8)}, {RO: "open", P80: day(2)}, {RO: "since", P80: day(8)}, {RO: "", P80: day(4)}, {RO: "nowhere", P80: day(5)},
		{RO: "kept", P80: day(1)}, {RO: "kept", P80: day(9)}, {RO: "kept", P80: day(4), AsOf: asOf},
	} {
		q.Kind, q.P50, q.P90 = "cooling", q.P80, q.P80
		if q.AsOf == 0 {
			q.AsOf = forecast.NewDate(2026, 2, 20)
		}
		if _, err := db.KeepQuote(ctx, q); err != nil {
			t.Fatal(err)
		}
	}
	due, err := d.quotesDue(ctx, asOf)
	if err != nil {
		t.Fatal(err)
	}
	want := "Of 4 quoted dates that fell due last week, 1 was kept; 8 in 10 should be. Missed: order open (cooling) was quoted for March 2 and isn't ready; " +
		"order late (cooling) was quoted for March 8 and ready on March 9; order since (cooling) was quoted for March 8 and isn't ready. " +
		"2 quotes that fell due last week name no repair order on record, so that nobody can tell whether they held."
	if have := due.String(); have != want {
		t.Errorf("want %q,\nhave %q", want, have)
	}
}
