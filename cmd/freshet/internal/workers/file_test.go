package workers

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// TestFile has a file taken in once, however often its job is done and under
// whatever name it comes, and the shop's work asked for; one that can't be read
// is given up after some tries, and what became of each is said.
func TestFile(t *testing.T) {
	ctx := t.Context()
	now := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	g, _ := group(t, 1, 1, now)
	w := &fileWorker{Config: hand(t, g, now)}
	work := func(id int64, attempt int) error {
		t.Helper()
		return w.Work(ctx, &river.Job[File]{JobRow: &rivertype.JobRow{Attempt: attempt}, Args: File{id, "shop0"}})
	}
	handIn := func(name, content string) int64 {
		t.Helper()
		id, err := w.hands.HandIn(ctx, "shop0", name, []byte(content))
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	said := func(id int64) (string, bool) {
		t.Helper()
		_, _, content, said, err := g.HandedIn(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		return said, content != nil
	}
	jobs := func() (n int) {
		t.Helper()
		if err := g.Pool().QueryRow(ctx, "SELECT count(*) FROM shop_shop0.job_lines").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := jobs()
	const file = "ro_number,dropped_off,kind\n9001,2026-11-27,brakes\n9002,2026-11-28,brakes\n"
	id := handIn("more.csv", file)
	for range 2 {
		if err := work(id, 1); err != nil {
			t.Fatal(err)
		}
	}
	if have, kept := said(id); have != "2 rows: 2 added, 0 updated, 0 unchanged, 0 rejected." || kept || jobs() != before+2 {
		t.Errorf("have %q, content kept: %v, %d jobs more", have, kept, jobs()-before)
	}
	same := handIn("the same.csv", file)
	if err := work(same, 1); err != nil {
		t.Fatal(err)
	}
	if have, kept := said(same); have != "It was taken in before." || kept || jobs() != before+2 {
		t.Errorf("have %q, content kept: %v, %d jobs more", have, kept, jobs()-before)
	}
	if have, want := wanted(t, g), []string{"shop0 anew", "shop0 anew"}; !slices.Equal(have, want) {
		t.Errorf("want the shop's work asked for once a file, have %v", have)
	}
	odd := handIn("odd.csv", "colour;size\nred;4\n")
	for attempt := 1; attempt < unreadAfter; attempt++ {
		if err := work(odd, attempt); err == nil {
			t.Errorf("attempt %d: want an error", attempt)
		}
		if have, kept := said(odd); have != "" || !kept {
			t.Errorf("attempt %d: given up: %q", attempt, have)
		}
	}
	if err := work(odd, unreadAfter); err != nil {
		t.Fatal(err)
	}
	if have, kept := said(odd); !strings.HasPrefix(have, "It was not taken in, since ") || kept || jobs() != before+2 {
		t.Errorf("have %q, content kept: %v, %d jobs more", have, kept, jobs()-before)
	}
}
