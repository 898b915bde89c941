package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

var at = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)

func open(t testing.TB) *store.Store {
	t.Helper()
	return store.Empty(t)
}

// take imports CSV text of drop-offs; the shop in it is invented.
func take(t testing.TB, s *store.Store, text string) store.Batch {
	t.Helper()
	b, err := tryTake(s, text)
	if err != nil {
		t.Fatal(err)
	}
	if b.Rows != b.Added+b.Updated+b.Unchanged+b.Rejected {
		t.Errorf("%d rows, but %d + %d + %d + %d", b.Rows, b.Added, b.Updated, b.Unchanged, b.Rejected)
	}
	return b
}

func tryTake(s *store.Store, text string) (store.Batch, error) {
	sheet, err := ingest.Open("drop-offs.csv", strings.NewReader(text))
	if err != nil {
		return store.Batch{}, err
	}
	rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs), forecast.NewDate(2026, 3, 3))
	if err != nil {
		return store.Batch{}, err
	}
	return s.Import(context.Background(), store.Batch{File: "drop-offs.csv", Kind: ingest.DropOffs, TakenIn: at, Headers: sheet.Headers, Mended: sheet.Mended}, rows, nil)
}

const export = `ro_number,dropped_off,kind,quoted_hours,clocked_hours,parts_wait_days,ready,status,note
4101,2026-02-02,plumbing,2,2.5,,2026-02-04,picked up,
4102,2026-02-03,cooling,3,,,,in line,"fan, rattles"
4102,2026-02-03,electrical,1,4.5,20,2026-02-27,ready,
4103,2026-02-30,exterior,1,,,,in line,
4104,2026-02-20,exterior,8,,,,waiting for parts,
`

func TestImportAccountsForEveryRow(t *testing.T) {
	s := open(t)
	b := take(t, s, export)
	if b.Rows != 5 || b.Added != 4 || b.Rejected != 1 {
		t.Errorf("want 5 rows, 4 added, 1 rejected, have %+v", b)
	}
	if len(b.Rejects) != 1 || b.Rejects[0].Line != 5 || !strings.Contains(b.Rejects[0].Error(), "2026-02-30") {
		t.Errorf("want the bad day of line 5, have %v", b.Rejects)
	}
	kept, err := s.Rejects(context.Background(), 10)
	if err != nil || len(kept) != 1 || kept[0].Line != 5 || kept[0].Value != "2026-02-30" {
		t.Errorf("want the reject kept, have %+v, %v", kept, err)
	}
	if b := take(t, s, export); b.Unchanged != 4 || b.Rejected != 1 || b.Added+b.Updated != 0 {
		t.Errorf("twice is once: have %+v", b)
	}
	edited := strings.Replace(export, "in line,\"fan, rattles\"", "being worked on,\"fan, rattles\"", 1)
	if b := take(t, s, edited); b.Updated != 1 || b.Unchanged != 3 {
		t.Errorf("want 1 updated, have %+v", b)
	}
	batches, err := s.Batches(context.Background(), 10)
	if err != nil || len(batches) != 3 || batches[0].Updated != 1 || !batches[0].TakenIn.Equal(at) {
		t.Errorf("want 3 batches, newest first, have %+v, %v", batches, err)
	}
}

// A batch carries the first of many rejects, and the database all of them.
func TestManyRejects(t *testing.T) {
	const n = store.MaxShown + 3
	s := open(t)
	b := take(t, s, "ro_number,dropped_off\n"+strings.Repeat("7,2026-02-30\n", n))
	kept, err := s.Rejects(t.Context(), 2*n)
	if b.Rejected != n || len(b.Rejects) != store.MaxShown || b.Rejects[store.MaxShown-1].Line != store.MaxShown+1 || err != nil || len(kept) != n {
		t.Errorf("want %d rejects, the first %d at hand, have %d and %d, and %d on record, %v", n, store.MaxShown, b.Rejected, len(b.Rejects), len(kept), err)
	}
}

// failing gives rows and then an error, as a file that breaks off does.
type failing struct {
	n   int
	err error
}

func (f *failing) Next() bool { f.n--; return f.n >= 0 }
func (f *failing) Record() ingest.Record {
	return &ingest.DropOff{RO: fmt.Sprint(9000 + f.n), DroppedOff: forecast.NewDate(2026, 1, 5), Nth: 1}
}
func (f *failing) Warnings() []error        { return nil }
func (f *failing) Reject() *ingest.RowError { return nil }
func (f *failing) Cells() []string          { return nil }
func (f *failing) Err() error               { return f.err }

func TestBrokenFileChangesNothing(t *testing.T) {
	s := open(t)
	take(t, s, export)
	before := lines(t, s, forecast.NewDate(2026, 3, 2))
	broken := errors.New("the file breaks off")
	if _, err := s.Import(context.Background(), store.Batch{Kind: ingest.DropOffs, TakenIn: at}, &failing{7, broken}, nil); !errors.Is(err, broken) {
		t.Fatalf("want the file's error, have %v", err)
	}
	stopped, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := s.Import(stopped, store.Batch{Kind: ingest.DropOffs, TakenIn: at}, &failing{7, nil}, nil); !errors.Is(err, context.Canceled) {
		t.Fatalf("want a cancelled import to say so, have %v", err)
	}
	if after := lines(t, s, forecast.NewDate(2026, 3, 2)); after != before {
		t.Errorf("rows changed:\n%s\n%s", before, after)
	}
	if b, err := s.Batches(context.Background(), 10); err != nil || len(b) != 1 {
		t.Errorf("want 1 batch, have %v, %v", b, err)
	}
	take(t, s, export) // the writer still works
}

func lines(t testing.TB, s *store.Store, asOf forecast.Date) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.Lines(context.Background(), asOf, func(l store.Line) {
		fmt.Fprintf(&b, "%v %s ready %v hours %v/%v\n", l.DroppedOff, l.Kind, l.Ready, l.Quoted, l.Clocked)
	}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// On February 10 the cooling job was open, the electrical one too (it was
// finished on the 27th), its part not in, and the one of the 20th not there.
func TestAsOf(t *testing.T) {
	s := open(t)
	take(t, s, export)
	feb10 := forecast.NewDate(2026, 2, 10)
	jobs, err := s.Open(context.Background(), feb10-365, feb10)
	if err != nil {
		t.Fatal(err)
	}
	if len(jobs) != 2 || jobs[0].Kind != "cooling" || jobs[1].Kind != "electrical" {
		t.Fatalf("want the two open jobs of February 3, have %+v", jobs)
	}
	e := jobs[1]
	if e.Ready.Valid || e.Clocked.Valid || e.Status != store.WaitingForParts || e.PartsWait.Valid || !e.Quoted.Valid {
		t.Errorf("what came later shows: %+v", e)
	}
	if have := lines(t, s, feb10); strings.Count(have, "\n") != 3 || strings.Count(have, "true") != 5 {
		// three quoted hours, one ready day and one clocked time were known
		t.Errorf("want 3 lines with 5 known facts, have\n%s", have)
	}
}

func TestCrewTimeOffEvents(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	for kind, text := range map[ingest.RowKind]string{
		ingest.Crew:    "name,weekly_hours,productivity,skills,from\nOda,40,0.85,all,\nPell,32,,plumbing;electrical,2026-04-01\n",
		ingest.TimeOff: "name,from,until\nshop,2026-12-24,2026-12-31\nOda,2026-03-09,2026-03-13\n",
		ingest.Events:  "name,from,until,effect\nhail,2025-06-02,2025-06-04,one-time\n",
	} {
		sheet, err := ingest.Open(string(kind)+".csv", strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, kind), forecast.NewDate(2026, 3, 3))
		if err != nil {
			t.Fatal(err)
		}
		if b, err := s.Import(ctx, store.Batch{File: sheet.Name, Kind: kind, TakenIn: at}, rows, nil); err != nil || b.Rejected > 0 {
			t.Fatal(b, err)
		}
	}
	crew, err := s.Crew(ctx)
	if err != nil || len(crew) != 2 || crew[0].Name != "Oda" || crew[0].Skills != nil || len(crew[1].Skills) != 2 || crew[1].From.V != forecast.NewDate(2026, 4, 1) || crew[1].Productivity.Valid {
		t.Errorf("have %+v, %v", crew, err)
	}
	off, err := s.Absences(ctx)
	if err != nil || len(off) != 2 || off[0].Name != "Oda" || !off[1].Shop() || off[1].Until != forecast.NewDate(2026, 12, 31) {
		t.Errorf("have %+v, %v", off, err)
	}
	events, err := s.Events(ctx)
	if err != nil || len(events) != 1 || events[0].Effect != ingest.OneTime {
		t.Errorf("have %+v, %v", events, err)
	}
}

func TestSettingsRunsLayouts(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	if v, err := s.Setting(ctx, "x", "none"); v != "none" || err != nil {
		t.Errorf("want the fallback, have %q, %v", v, err)
	}
	for _, v := range []string{"one", "two"} {
		if err := s.Set(ctx, "x", v); err != nil {
			t.Fatal(err)
		}
	}
	if v, err := s.Setting(ctx, "x", "none"); v != "two" || err != nil {
		t.Errorf("want two, have %q, %v", v, err)
	}
	if _, ok, err := s.LatestRun(ctx); ok || err != nil {
		t.Errorf("want no run, have one, %v", err)
	}
	want := store.Run{AsOf: 20000, Seed: 1<<63 + 5, Version: "v", DataUntil: 19999, MadeAt: "2026-01-05T06:00:00Z", Report: []byte(`{"shop":"<em>UHOH</em>"}`)}
	if err := s.KeepRun(ctx, want); err != nil {
		t.Fatal(err)
	}
	have, ok, err := s.LatestRun(ctx)
	have.ID = 0
	if !ok || err != nil || fmt.Sprint(have) != fmt.Sprint(want) {
		t.Errorf("want %v, have %v, %v", want, have, err)
	}
	for _, day := range []forecast.Date{20000 + 7, 20000 + 8, 20000 + 8, 20000 - 7} { // 20000 is a Friday
		if err := s.KeepRun(ctx, store.Run{AsOf: day, DataUntil: day}); err != nil {
			t.Fatal(err)
		}
	}
	var of []string
	weeks, err := s.RunsOfWeeks(ctx, 20000, 20008)
	for _, r := range weeks {
		of = append(of, fmt.Sprint(r.ID, " ", int(r.AsOf-20000)))
	}
	if none, err2 := s.RunsOfWeeks(ctx, 20009, 20100); fmt.Sprint(of) != "[1 0 4 8]" || none != nil || err != nil || err2 != nil {
		t.Errorf("want the newest of each week's last day, have %v and %v; %v, %v", of, none, err, err2)
	}
	l := ingest.Propose([]string{"id", "day in"}, nil, ingest.DropOffs)
	if l, err = l.With("day in", "dropped_off"); err != nil {
		t.Fatal(err)
	}
	if err := s.KeepLayout(ctx, l.Signature(), l); err != nil {
		t.Fatal(err)
	}
	var back ingest.Layout
	if ok, err := s.Layout(ctx, l.Signature(), &back); !ok || err != nil || fmt.Sprint(back) != fmt.Sprint(l) {
		t.Errorf("want %v, have %v, %v", l, back, err)
	}
}

func TestOpenKeepsWhatIsThere(t *testing.T) {
	store.OfAFile(t)
	path := filepath.Join(t.TempDir(), "deep", "shop.db")
	for range 2 {
		s, err := store.Open(context.Background(), path)
		if err != nil {
			t.Fatal(err)
		}
		take(t, s, export)
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("want a file for its owner alone, have %v, %v", info.Mode(), err)
	}
	raw, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	defer raw.Close()
	var verdict string
	if err := raw.QueryRow("PRAGMA integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		t.Errorf("integrity: %s, %v", verdict, err)
	}
	// A version from the future.
	if _, err := raw.Exec("INSERT INTO goose_db_version(version_id, is_applied) VALUES(9999, 1)"); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(context.Background(), path); err == nil || !strings.Contains(err.Error(), "newer freshet") {
		t.Errorf("want a refusal of a newer database, have %v", err)
	}
}

func TestNotADatabase(t *testing.T) {
	store.OfAFile(t)
	path := filepath.Join(t.TempDir(), "photo.db")
	if err := os.WriteFile(path, bytes.Repeat([]byte("not a database "), 1000), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Open(context.Background(), path); err == nil {
		t.Error("want an error")
	}
}

// BenchmarkImport measures rows a second of new drop-offs.
func BenchmarkImport(b *testing.B) {
	var text strings.Builder
	text.WriteString("ro_number,dropped_off,kind,quoted_hours,clocked_hours,ready\n")
	const rows = 20000
	for i := range rows {
		fmt.Fprintf(&text, "%d,%v,plumbing,2,2.5,%v\n", 100000+i, forecast.NewDate(2010, 1, 1)+forecast.Date(i/4), forecast.NewDate(2010, 1, 1)+forecast.Date(i/4+3))
	}
	for b.Loop() {
		b.StopTimer()
		s := open(b)
		b.StartTimer()
		take(b, s, text.String())
	}
	b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds(), "rows/s")
}
