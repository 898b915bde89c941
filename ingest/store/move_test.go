package store

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/ingest"
	"freshet/ingest/store/pgtest"
)

// columnsOf gives each table's columns, sorted.
func columnsOf(t *testing.T, s *Store) map[string][]string {
	t.Helper()
	query := "SELECT m.name, c.name FROM sqlite_schema AS m JOIN pragma_table_info(m.name) AS c WHERE m.type = 'table'"
	if s.group != nil {
		query = "SELECT table_name::text, column_name::text FROM information_schema.columns WHERE table_schema = current_schema()"
	}
	rows, err := s.r.Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	all := map[string][]string{}
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			t.Fatal(err)
		}
		if table != "goose_db_version" && table != "sqlite_sequence" && !ofOneKind(column) {
			all[table] = append(all[table], column)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	for _, columns := range all {
		slices.Sort(columns)
	}
	return all
}

func openShopOf(t *testing.T, address, shop string) *Store {
	t.Helper()
	named, err := AddressOf(address, shop)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), named)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// furnished gives a file with something in each table.
func furnished(t *testing.T) *Store {
	t.Helper()
	s, ctx := openAt(t, filepath.Join(t.TempDir(), "shop.db")), context.Background()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for range 2 { // the second changes all rows
		_, err := importJobs(s, &jobs{n: 200, hours: 1.1})
		must(err)
	}
	_, err := importJobs(s, &jobs{n: 150, hours: 2.25})
	must(err)
	_, err = s.Undo(ctx, takenIn)
	must(err)
	for kind, r := range map[ingest.RowKind]ingest.Record{
		ingest.Crew:    &ingest.Person{Name: "Ansel", WeeklyHours: 40},
		ingest.TimeOff: &ingest.Absence{Name: "Ansel", From: 20000, Until: 20001},
		ingest.Events:  &ingest.Event{Name: "rally ✓", From: 20000, Until: 20001, Effect: "known"},
	} {
		_, err := s.ByHand(ctx, "by hand", kind, r.Key(), nil, r, takenIn)
		must(err)
	}
	const bad = "ro_number,dropped_off\n1,2026-02-31\n"
	_, err = s.TakeIn(ctx, HandIn{Name: "bad.csv", File: strings.NewReader(bad), Size: int64(len(bad))}, 20600, takenIn, nil)
	must(err)
	must(s.session(ctx, func(tx *session) error {
		return tx.exec("INSERT INTO mends(batch, line, by, key) VALUES(7, 2, 7, 'x')")
	}))
	must(s.KeepLayout(ctx, "signature", ingest.Layout{Kind: ingest.DropOffs}))
	must(s.KeepRun(ctx, Run{AsOf: 20000, DataUntil: 20000, Seed: 1 << 63, MadeAt: instant(takenIn), Report: []byte(`{"schema":1}`)}))
	must(s.Set(ctx, "zone", "America/Denver"))
	must(s.Merge(ctx, []string{"plumbing"}, "Water", takenIn))
	_, err = s.UndoKinds(ctx, takenIn)
	must(err)
	_, err = s.KeepQuote(ctx, Quote{GivenAt: takenIn, Kind: "plumbing"})
	must(err)
	must(s.SetPassphrase(ctx, "owner", "hash", takenIn))
	must(s.Sessions().Commit("token", []byte{0, 1, 255}, time.Now().Add(time.Hour)))
	_, err = s.Guess(ctx, "10.0.0.1", takenIn)
	must(err)
	must(s.Note(ctx, Change{takenIn, "owner", "named the shop"}))
	_, err = s.PutLetter(ctx, Letter{Purpose: "weekly/2026-W10/owner", Recipient: "owner@quillback.example", Message: []byte("Subject: \x00"), Run: 1, Due: takenIn, MadeAt: takenIn})
	must(err)
	must(s.KeepNote(ctx, storm))
	_, err = s.TakeNoteBack(ctx, storm.Alert, "owner", takenIn)
	must(err)
	must(s.SetFolderFile(ctx, FolderFile{Name: "a.csv", Written: takenIn, State: FolderTaken, At: takenIn}))
	_, err = s.SetFailure(ctx, Failure{"report", "no records", takenIn})
	must(err)
	return s
}

// A shop comes back from PostgreSQL as it went there, row by row, can be lived
// with in both, and doesn't mix with one that is there already.
func TestMove(t *testing.T) {
	address := pgtest.Database(t)
	file, ctx := furnished(t), context.Background()
	shop := openShopOf(t, address, "north")
	have, want := columnsOf(t, shop), columnsOf(t, file)
	for table := range want {
		if !slices.Equal(have[table], want[table]) {
			t.Errorf("%s: SQLite has the columns %v, PostgreSQL %v: does the migration have its twin in migrations/postgres?", table, want[table], have[table])
		}
		if !slices.Contains(movable, table) {
			t.Errorf("%s: not moved: add it to movable in move.go, after what it refers to", table)
		}
	}
	for table := range have {
		if want[table] == nil {
			t.Errorf("%s: only PostgreSQL has it: does the migration have its twin in migrations?", table)
		}
	}
	if t.Failed() {
		t.FailNow()
	}
	there, err := Move(ctx, file, shop, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range there {
		if m.Rows == 0 {
			t.Errorf("%s: nothing was moved: have furnished put something into it", m.Table)
		}
	}
	checked(t, shop)
	back := openAt(t, filepath.Join(t.TempDir(), "back.db"))
	again, err := Move(ctx, shop, back, nil)
	if err != nil || !slices.Equal(there, again) {
		t.Fatalf("want the same rows back,\n%v\nhave\n%v, %v", there, again, err)
	}
	checked(t, back)
	var lines [2][]string
	for i, s := range []*Store{file, back} {
		if err := s.r.SelectContext(ctx, &lines[i], "SELECT key || ' ' || hex(digest) FROM job_lines ORDER BY rowid"); err != nil {
			t.Fatal(err)
		}
	}
	if !slices.Equal(lines[0], lines[1]) {
		t.Error("the job lines come back in another order")
	}
	var full *NotEmpty
	if _, err := Move(ctx, file, shop, nil); !errors.As(err, &full) {
		t.Errorf("want a shop that isn't empty refused, have %v", err)
	}
	// New rows get numbers of their own.
	if b, err := importJobs(shop, &jobs{n: 10, from: 5000}); err != nil || b.ID != 8 || b.Added != 10 {
		t.Errorf("have %+v, %v", b, err)
	}
	if _, err := shop.KeepQuote(ctx, Quote{GivenAt: takenIn}); err != nil {
		t.Error(err)
	}
	past, err := shop.Past(ctx, Basis{Batch: 3}, filepath.Join(t.TempDir(), "past.db"), takenIn)
	if err != nil {
		t.Fatal(err)
	}
	defer past.Close()
	if h := checked(t, past); h.Records["job_lines"] != 200 || h.Records["crew"] != 0 {
		t.Errorf("want the records of before, have %+v", h)
	}
}

// What can't be moved as it is isn't moved at all.
func TestMoveIsWhole(t *testing.T) {
	address := pgtest.Database(t)
	s, ctx := openAt(t, filepath.Join(t.TempDir(), "shop.db")), context.Background()
	if _, err := importJobs(s, &jobs{n: 20, hours: 1}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.w.Exec("INSERT INTO failures(step, said, at) VALUES('report', 'a' || char(0), '')"); err != nil {
		t.Fatal(err)
	}
	shop := openShopOf(t, address, "north")
	if _, err := Move(ctx, s, shop, nil); err == nil || !strings.Contains(err.Error(), "0x00") {
		t.Errorf("want a character without a place in PostgreSQL refused, have %v", err)
	}
	if lines := 0; shop.r.Get(&lines, "SELECT count(*) FROM job_lines") != nil || lines != 0 {
		t.Errorf("want nothing moved, have %d lines", lines)
	}
	if _, err := s.w.Exec("DELETE FROM failures"); err != nil {
		t.Fatal(err)
	}
	// A copy that isn't the same is noticed.
	other := openAt(t, filepath.Join(t.TempDir(), "other.db"))
	if _, err := other.w.Exec("CREATE TRIGGER meddles AFTER INSERT ON job_lines BEGIN UPDATE job_lines SET note = 'x' WHERE key = new.key AND ro = '7'; END"); err != nil {
		t.Fatal(err)
	}
	if _, err := Move(ctx, s, other, nil); err == nil || !strings.Contains(err.Error(), "20 rows of job_lines") {
		t.Errorf("want the change noticed, have %v", err)
	}
	if h := checked(t, other); h.Batches != 0 {
		t.Errorf("want nothing moved, have %+v", h)
	}
	if _, err := Move(ctx, s, shop, nil); err != nil {
		t.Error(err)
	}
}
