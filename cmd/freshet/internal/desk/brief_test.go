package desk_test

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast/workload"
	"freshet/ingest"
)

// TestBrief has a group keep what the report says and what the shop teaches,
// and a young shop borrow it: not for a day before it was learned, and not once
// it has grown.
func TestBrief(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	ctx := context.Background()
	old := shop(t, nil)
	r, b, err := old.ReportAndBrief(ctx, ask(asOf), "test")
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Weeks) != 13 || len(b.Spare) != 13 || b.Lesson == nil {
		t.Fatalf("have %d weeks, %d that may be spared, lesson %v", len(b.Weeks), len(b.Spare), b.Lesson)
	}
	for j, w := range b.Weeks {
		if c := r.Weeks[j].Crew; *w.ChanceShort != c.ChanceShort || *w.ChanceShort != b.Spare[j].Now || *w.AvailableHours != c.Available || w.Hours.Mean != r.Weeks[j].Hours.Mean {
			t.Errorf("week %d: have %+v and %+v, the report %+v", j, w, b.Spare[j], r.Weeks[j])
		}
	}

	young := shop(t, func(r ingest.Record) bool {
		d, ok := r.(*ingest.DropOff)
		return !ok || d.DroppedOff >= asOf-7*20
	})
	text, err := json.Marshal(workload.Pool([]workload.Lesson{*b.Lesson}))
	if err != nil {
		t.Fatal(err)
	}
	if len(text) > 20_000 {
		t.Errorf("what is borrowed takes %d bytes, want 20,000 or less", len(text))
	}
	outlook := func(d *desk.Desk, a desk.Ask) (desk.Outlook, bool) {
		t.Helper()
		o, err := d.Outlook(ctx, a)
		if err != nil {
			t.Fatal(err)
		}
		return o, strings.Contains(strings.Join(o.Warnings, " "), "of the group")
	}
	alone, borrows := outlook(young, ask(asOf))
	if borrows {
		t.Error("a shop alone is said to borrow")
	}
	for _, d := range []*desk.Desk{young, old} {
		if err := d.Store.Set(ctx, desk.SettingSiblings, string(text)); err != nil {
			t.Fatal(err)
		}
	}
	pooled, borrows := outlook(young, ask(asOf))
	if !borrows {
		t.Errorf("nothing says that the shop borrows: %q", pooled.Warnings)
	}
	// After 20 weeks of summer and autumn the sibling knows that winter is quiet.
	if was, now := alone.Weeks[8].DropOffs.Mean, pooled.Weeks[8].DropOffs.Mean; now > .9*was {
		t.Errorf("want fewer drop-offs in January with what others know, have %.1f and %.1f without", now, was)
	}
	if _, borrows := outlook(young, ask(asOf-7)); borrows {
		t.Error("a shop borrows what wasn't learned yet")
	}
	if _, borrows := outlook(old, ask(asOf)); borrows {
		t.Error("a grown shop borrows")
	}
}
