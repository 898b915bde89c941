package workers

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
)

// What fails is logged with its shop; the work of a shop that was taken away is
// given up, and a process that ends has nothing to say.
func TestFailuresAreLogged(t *testing.T) {
	var log bytes.Buffer
	f := failures{slog.New(slog.NewTextHandler(&log, nil))}
	job := &rivertype.JobRow{Kind: "file", Attempt: 2, EncodedArgs: []byte(`{"id":7,"shop":"east"}`)}
	if r := f.HandleError(t.Context(), job, errors.New("no place")); r.SetCancelled || !strings.Contains(log.String(), `shop=east job=file try=2 error="no place"`) {
		t.Errorf("have %+v, %s", r, &log)
	}
	log.Reset()
	if r := f.HandleError(t.Context(), job, fmt.Errorf("opened: %w", &store.NoShop{Name: "east"})); !r.SetCancelled {
		t.Error("a shop that is gone is tried again")
	}
	log.Reset()
	if f.HandleError(t.Context(), job, fmt.Errorf("ended: %w", context.Canceled)); log.Len() > 0 {
		t.Errorf("want nothing said, have %s", &log)
	}
	if f.HandlePanic(t.Context(), job, errors.New("a customer's words"), ""); !strings.Contains(log.String(), "shop=east job=file try=2 panic=*errors.errorString") {
		t.Errorf("have %s", &log)
	}
}

// A file that isn't in is kept as a failure of its shop's until one of its name
// is, or for eight days.
func TestFileFailure(t *testing.T) {
	ctx := t.Context()
	now := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	g, _ := group(t, 1, 1, now)
	c := hand(t, g, now)
	c.Now = func() time.Time { return now }
	w := &fileWorker{Config: c}
	db, err := g.Open(ctx, "shop0")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	work := func(id int64, attempt int) {
		t.Helper()
		if err := w.Work(ctx, &river.Job[File]{JobRow: &rivertype.JobRow{Attempt: attempt}, Args: File{id, "shop0"}}); err != nil && attempt == unreadAfter {
			t.Fatal(err)
		}
	}
	said := func(want string) {
		t.Helper()
		all, err := db.Failures(ctx)
		if err != nil {
			t.Fatal(err)
		}
		have := ""
		for _, f := range all {
			have += f.Step + ": " + f.Said
		}
		if want == "" && have != "" || !strings.HasPrefix(have, want) {
			t.Errorf("want %q, have %q", want, have)
		}
	}
	handIn := func(content string) int64 {
		t.Helper()
		id, err := w.hands.HandIn(ctx, "shop0", "jobs.csv", []byte(content))
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	const odd, good = "colour;size\nred;4\n", "ro_number,dropped_off,kind\n9001,2026-11-27,brakes\n"
	bad := handIn(odd)
	work(bad, 1)
	said("The file jobs.csv: it waits to be taken in, since")
	work(bad, unreadAfter)
	said("The file jobs.csv: it was not taken in, since")
	work(handIn(good), 1)
	said("")
	work(handIn(odd), unreadAfter)
	if _, err := db.TakeIn(ctx, store.HandIn{Name: "jobs.csv", File: strings.NewReader(good), Size: int64(len(good))}, today(now, time.UTC)+1, now, nil); err != nil {
		t.Fatal(err)
	}
	said("") // by a page or a command

	work(handIn(odd), unreadAfter)
	now = now.AddDate(0, 0, fileFailures-1)
	if err := c.did(ctx, db, Shop{"shop0", Night, "2026-12-07"}); err != nil {
		t.Fatal(err)
	}
	said("The file jobs.csv")
	now = now.AddDate(0, 0, 2)
	if err := c.did(ctx, db, Shop{"shop0", Night, "2026-12-09"}); err != nil {
		t.Fatal(err)
	}
	said("")
}

// A file without a job, as the process died that handed it in or its job was
// given up, gets one; work that was given up is told with its last reason.
func TestFilesAreAskedForAgain(t *testing.T) {
	ctx := t.Context()
	now := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	g, _ := group(t, 1, 1, now)
	w := &lookWorker{Config: hand(t, g, now)}
	id, err := g.HandIn(ctx, "shop0", "jobs.csv", []byte("x"))
	if err != nil {
		t.Fatal(err)
	}
	count := func(want int) {
		t.Helper()
		var n int
		if err := g.Pool().QueryRow(ctx, "SELECT count(*) FROM freshet.river_job WHERE kind = 'file' AND (args->>'id')::bigint = $1", id).Scan(&n); err != nil || n != want {
			t.Errorf("want %d jobs, have %d, %v", want, n, err)
		}
	}
	for range 2 {
		if err := w.Work(ctx, nil); err != nil {
			t.Fatal(err)
		}
	}
	count(1)
	if f, err := w.hands.Failing(ctx); err != nil || len(f) > 0 {
		t.Errorf("nothing failed yet: %v, %v", f, err)
	}
	if _, err := g.Pool().Exec(ctx, `UPDATE freshet.river_job SET state = 'discarded', attempt = 12, finalized_at = now(), errors = ARRAY['{"error":"first"}'::jsonb, '{"error":"last"}'] WHERE kind = 'file'`); err != nil {
		t.Fatal(err)
	}
	f, err := w.hands.Failing(ctx)
	if err != nil || len(f) != 1 || f[0] != (Failing{"shop0", "the file jobs.csv", id, 12, time.Time{}, "last"}) {
		t.Errorf("have %+v, %v", f, err)
	}
	if err := w.Work(ctx, nil); err != nil {
		t.Fatal(err)
	}
	count(2)
	if err := g.TakenIn(ctx, id, "It is in."); err != nil {
		t.Fatal(err)
	}
	if err := w.Work(ctx, nil); err != nil {
		t.Fatal(err)
	}
	count(2)
}

// What failed is named by its day or week as people write them.
func TestWhatFailed(t *testing.T) {
	ctx := t.Context()
	now := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	g, _ := group(t, 1, 1, now)
	hands, err := NewHands(g)
	if err != nil {
		t.Fatal(err)
	}
	for _, job := range []Shop{{"shop0", Night, "2026-12-01"}, {"shop0", Letter, "2026-W49"}} {
		if _, err := hands.client.Insert(ctx, job, nil); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := g.Pool().Exec(ctx, `UPDATE freshet.river_job SET errors = ARRAY['{"error":"why"}'::jsonb] WHERE kind = 'shop'`); err != nil {
		t.Fatal(err)
	}
	f, err := hands.Failing(ctx)
	if err != nil || len(f) != 2 {
		t.Fatalf("have %+v, %v", f, err)
	}
	for i, want := range []string{"the night's report of Tuesday, December 1, 2026", "the letter of the week of Monday, November 30, 2026"} {
		if f[i].What != want {
			t.Errorf("want %q, have %q", want, f[i].What)
		}
	}
}

// A folder that was watched before the shop came into the group is on another
// machine: that it can't be found is no failure, and ends an earlier one.
func TestNoFolderOfAGroup(t *testing.T) {
	ctx := t.Context()
	now := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	g, _ := group(t, 1, 1, now)
	db, err := g.Open(ctx, "shop0")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.Set(ctx, week.SettingFolder, t.TempDir()+"/gone"); err != nil {
		t.Fatal(err)
	}
	if _, err := db.SetFailure(ctx, store.Failure{Step: "The watched folder", Said: "it can't be read", At: now}); err != nil {
		t.Fatal(err)
	}
	hand(t, g, now).week(db, "shop0").Do(ctx, week.Due)
	failures, err := db.Failures(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range failures {
		if f.Step == "The watched folder" {
			t.Errorf("have %+v", f)
		}
	}
}
