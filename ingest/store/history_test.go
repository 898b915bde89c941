package store_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

// raw gives the tables past the store.
func raw(t testing.TB, s *store.Store) *sql.DB {
	t.Helper()
	return store.Raw(t, s)
}

// state is a digest of all records, with the batches that they came with.
func state(t testing.TB, s *store.Store) string {
	t.Helper()
	h := sha256.New()
	db := raw(t, s)
	for _, table := range []string{"job_lines", "crew", "absences", "events"} {
		rows, err := db.Query("SELECT * FROM " + table + " ORDER BY key")
		if err != nil {
			t.Fatal(err)
		}
		columns, _ := rows.Columns()
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range into {
			into[i] = &values[i]
		}
		for rows.Next() {
			if err := rows.Scan(into...); err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(h, "%s %#v\n", table, values)
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:8])
}

// healthy checks the database and gives what it found.
func healthy(t testing.TB, s *store.Store) store.Health {
	t.Helper()
	h, err := s.Check(context.Background())
	if err != nil || len(h.Faults) > 0 {
		t.Fatalf("want a healthy database, have %v, %v", h.Faults, err)
	}
	return h
}

// Each undo brings back the very records that were there before its batch.
func TestUndo(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	states := []string{state(t, s)}
	for _, text := range []string{
		export,
		strings.Replace(export, "4101,2026-02-02,plumbing,2,2.5", "4101,2026-02-02,plumbing,2,", 1) + "4105,2026-02-21,plumbing,1.5,,,,in line,\n",
		strings.Replace(export, "4104,2026-02-20", "4104,2026-02-19", 1),
		// one line number twice: the later row counts
		"ro_number,line,dropped_off,kind\n4101,A,2026-02-02,one\n4101,A,2026-02-02,two\n",
		// and so it does where the row was on record before
		"ro_number,line,dropped_off,kind\n4101,A,2026-02-02,three\n4101,A,2026-02-02,four\n",
		export,
	} {
		take(t, s, text)
		states = append(states, state(t, s))
		healthy(t, s)
	}
	for i := 5; i >= 0; i-- {
		b, err := s.Undo(ctx, at.Add(time.Hour))
		if err != nil || b.ID != int64(i+1) {
			t.Fatalf("want batch %d undone, have %d, %v", i+1, b.ID, err)
		}
		if have := state(t, s); have != states[i] {
			t.Errorf("undoing batch %d: the records are not what they were", i+1)
		}
		healthy(t, s)
	}
	if _, err := s.Undo(ctx, at); !errors.Is(err, store.ErrNothingToUndo) {
		t.Errorf("want nothing to undo, have %v", err)
	}
	batches, err := s.Batches(ctx, 10)
	if err != nil || len(batches) != 6 || !batches[0].Undone.Equal(at.Add(time.Hour)) {
		t.Errorf("want the undone batches listed, have %+v, %v", batches, err)
	}
	if changed, err := s.Changed(ctx); err != nil || !changed.Equal(at.Add(time.Hour)) {
		t.Errorf("want the undoing to count as a change, have %v, %v", changed, err)
	}
	if b := take(t, s, export); b.Added != 4 {
		t.Errorf("want the file taken in again, have %+v", b)
	}
}

func TestHistoryIsOnlyAddedTo(t *testing.T) {
	s := open(t)
	take(t, s, export)
	take(t, s, strings.Replace(export, "plumbing,2", "plumbing,3", 1))
	db := raw(t, s)
	for _, q := range []string{
		"UPDATE history SET key = 'x'", "DELETE FROM history", "DELETE FROM rejects", "UPDATE rejects SET line = 1", "DELETE FROM batches",
		"UPDATE batches SET added = 3, unchanged = 1 WHERE id = 1", "UPDATE batches SET content = NULL", "UPDATE batches SET file = 'x', undone_at = 'now'",
	} {
		if _, err := db.Exec(q); err == nil || !strings.Contains(err.Error(), "only") {
			t.Errorf("%s: want a refusal, have %v", q, err)
		}
	}
	if _, err := s.Undo(context.Background(), at); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("UPDATE batches SET undone_at = NULL"); err == nil {
		t.Error("want an undone batch to stay so")
	}
}

// What was changed past the store is found, wherever it stands.
func TestCheckFindsChanges(t *testing.T) {
	for what, change := range map[string]struct{ unguarded, query string }{
		"an hour more":       {query: "UPDATE job_lines SET quoted = 4 WHERE ro = '4104'"},
		"a row lost":         {query: "DELETE FROM job_lines WHERE ro = '4104'"},
		"a row moved":        {query: "UPDATE job_lines SET batch = 2 WHERE ro = '4104'"},
		"a key changed":      {query: "UPDATE job_lines SET key = key || '0' WHERE ro = '4104'"},
		"a reject lost":      {"rejects", "DELETE FROM rejects"},
		"an earlier version": {"history", "UPDATE history SET record = digest FROM job_lines WHERE history.key = job_lines.key"},
		"a batch lost":       {"batches", "DELETE FROM batches WHERE id = 1"},
	} {
		s := open(t)
		take(t, s, export)
		take(t, s, strings.Replace(export, "plumbing,2", "plumbing,3", 1))
		h := healthy(t, s)
		if h.Records["job_lines"] != 4 || h.Batches != 2 {
			t.Errorf("want 4 lines of 2 batches, have %+v", h)
		}
		if change.unguarded != "" {
			store.Unguarded(t, s, change.unguarded)
		}
		if _, err := raw(t, s).Exec(change.query); err != nil {
			t.Fatal(err)
		}
		if h, err := s.Check(context.Background()); err != nil || len(h.Faults) == 0 {
			t.Errorf("%s: want it found, have %+v, %v", what, h, err)
		}
	}
}

// A mended row never takes the place of another line of its repair order, and
// comes once however often its file is imported.
func TestMendedRows(t *testing.T) {
	s := open(t)
	const head = "ro_number,dropped_off,kind,quoted_hours\n"
	take(t, s, head+"7,2026-02-02,plumbing,2\n7,2026-02-31,plumbing,3\n7,2026-02-31,plumbing,3\n")
	mended := func() store.Batch {
		sheet, err := ingest.Open("mended.csv", strings.NewReader(strings.TrimSuffix(head, "\n")+","+ingest.ReasonHeader+"\n7,2026-02-28,plumbing,3,is not a day\n7,2026-02-28,plumbing,3,is not a day\n"))
		if err != nil || !sheet.Mended {
			t.Fatal(sheet, err)
		}
		rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, ingest.DropOffs), forecast.NewDate(2026, 3, 3))
		if err != nil {
			t.Fatal(err)
		}
		b, err := s.Import(context.Background(), store.Batch{File: "mended.csv", Kind: ingest.DropOffs, TakenIn: at, Mended: sheet.Mended}, rows, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	if b := mended(); b.Added != 2 || b.Updated != 0 {
		t.Errorf("want both lines added, have %+v", b)
	}
	if b := mended(); b.Unchanged != 2 {
		t.Errorf("want nothing changed by the second time, have %+v", b)
	}
}

// Rows leave the list of those to mend when they are mended, in whatever way,
// and stand there again when that is taken back. Totals never stand there.
func TestRowsToMend(t *testing.T) {
	s, ctx := open(t), t.Context()
	const bad = "ro_number,dropped_off,kind\n7,2026-02-31,plumbing\n8,2026-02-02,roof\nTotal,,2\n"
	take := func(name, text string) store.Taken {
		t.Helper()
		h := handIn(text)
		h.Name = name
		b, err := s.TakeIn(ctx, h, handInLatest, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	left := func(when string, want int) {
		t.Helper()
		if rows, err := s.Rejects(ctx, 9); err != nil || len(rows) != want {
			t.Errorf("%s: have %v, %v, need %d", when, rows, err, want)
		}
	}
	undo := func() {
		t.Helper()
		if _, err := s.Undo(ctx, at); err != nil {
			t.Fatal(err)
		}
	}
	b := take("a.csv", bad)
	if b.Rejected != 2 || b.NoRecords != 1 || len(b.ToMend()) != 1 || len(b.Rejects) != 2 {
		t.Errorf("have %+v", b)
	}
	left("taken in", 1)
	take("a.csv", bad)
	left("twice", 1)
	undo()
	take("a.csv", strings.Replace(bad, "02-31", "02-28", 1))
	left("mended in the file itself", 0)
	undo()
	left("that taken back", 1)
	take("b.csv", bad)
	left("another file", 2)
	undo()
	var rejects strings.Builder
	if n, err := s.ExportRejects(ctx, b.Batch, &rejects); n != 1 || err != nil {
		t.Fatal(n, err)
	}
	take("mend.csv", strings.Replace(rejects.String(), "02-31,", "02-28,", 1))
	left("mended by the file of rejects", 0)
	undo()
	left("that taken back", 1)
	undo()
	left("all taken back", 0)
}

// A rejected row that is mended again, in another way, takes its own place: not
// one that an export has corrected since, nor under another repair order.
func TestMendedAgain(t *testing.T) {
	s, ctx := open(t), t.Context()
	if _, err := s.TakeIn(ctx, handIn("ro_number,dropped_off,kind,quoted_hours\n7,2026-02-02,plumbing,2\n7,2026-02-31,plumbing,3\n7,2026-02-31,plumbing,4\n"), handInLatest, at, nil); err != nil {
		t.Fatal(err)
	}
	batches, err := s.Batches(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	var rejects strings.Builder
	if n, err := s.ExportRejects(ctx, batches[0], &rejects); n != 2 || err != nil {
		t.Fatal(n, err)
	}
	mend := func(edit ...string) store.Taken {
		t.Helper()
		b, err := s.TakeIn(ctx, handIn(strings.NewReplacer(edit...).Replace(rejects.String())), handInLatest, at, nil)
		if err != nil {
			t.Fatal(err)
		}
		healthy(t, s)
		return b
	}
	for i, c := range []struct {
		before                    string // an export, or undo
		edit                      []string
		added, updated, unchanged int
		doubts                    string
	}{
		{"", []string{"02-31,", "02-28,"}, 2, 0, 0, ""},
		{"", []string{"02-31,", "02-27,"}, 0, 2, 0, ""},
		{"", []string{"02-31,", "02-27,"}, 0, 0, 2, ""},
		{"undo", []string{"02-31,", "02-26,"}, 0, 2, 0, ""}, // what is undone brought nothing
		{"undo", []string{"02-31,", "02-25,"}, 0, 2, 0, ""}, // the second's place again
		{"", []string{"02-31,", "02-25,", "plumbing,3", "plumbing,5"}, 0, 1, 1, ""},
		{"ro_number,dropped_off,kind,quoted_hours\n7,2026-02-02,plumbing,2\n7,2026-02-20,plumbing,3\n7,2026-02-20,plumbing,4\n", []string{"02-31,", "02-19,"}, 2, 0, 0, ""}, // what an export says since stands
		{"", []string{"02-31,", "02-25,", "7,", "8,"}, 2, 0, 0, "row 3 of import 1 was mended before under another repair order or kind"},
		{"", []string{"02-31,", "02-24,", "(row", "(of row"}, 2, 0, 0, ""}, // its name is gone: it is a new row
	} {
		if c.before == "undo" {
			if _, err := s.Undo(ctx, at); err != nil {
				t.Fatal(err)
			}
		} else if c.before != "" {
			take(t, s, c.before)
		}
		b := mend(c.edit...)
		if b.Added != c.added || b.Updated != c.updated || b.Unchanged != c.unchanged || !strings.Contains(strings.Join(b.Doubts, "; "), c.doubts) {
			t.Errorf("%d: want %+v, have %+v", i, c, b)
		}
	}
}

// A mended row that is rejected again can be mended again.
func TestRejectedAgain(t *testing.T) {
	s, ctx := open(t), t.Context()
	if _, err := s.TakeIn(ctx, handIn("ro_number,dropped_off,kind\n7,2026-02-31,plumbing\n"), handInLatest, at, nil); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		day      string
		rejected int
	}{{"2026-02-30", 1}, {"2026-02-28", 0}} {
		batches, err := s.Batches(ctx, 1)
		if err != nil {
			t.Fatal(err)
		}
		var rejects strings.Builder
		if n, err := s.ExportRejects(ctx, batches[0], &rejects); n != 1 || err != nil {
			t.Fatal(n, err)
		}
		text := strings.NewReplacer(",2026-02-31,", ","+c.day+",", ",2026-02-30,", ","+c.day+",").Replace(rejects.String())
		if b, err := s.TakeIn(ctx, handIn(text), handInLatest, at, nil); err != nil || b.Rejected != c.rejected || b.Added != 1-c.rejected {
			t.Errorf("%s: have %+v, %v", text, b, err)
		}
	}
}

// So many mended rows that new ones would be written together each keep their
// place for the next mending.
func TestManyMended(t *testing.T) {
	const n = 70
	s, ctx := open(t), t.Context()
	var rows strings.Builder
	for i := range n {
		fmt.Fprintf(&rows, "7,2026-02-31,plumbing,%d\n", 1+i)
	}
	if _, err := s.TakeIn(ctx, handIn("ro_number,dropped_off,kind,quoted_hours\n"+rows.String()), handInLatest, at, nil); err != nil {
		t.Fatal(err)
	}
	batches, err := s.Batches(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	var rejects strings.Builder
	if got, err := s.ExportRejects(ctx, batches[0], &rejects); got != n || err != nil {
		t.Fatal(got, err)
	}
	for _, c := range []struct {
		day            string
		added, updated int
	}{{"28", n, 0}, {"27", 0, n}} {
		b, err := s.TakeIn(ctx, handIn(strings.ReplaceAll(rejects.String(), "2026-02-31,", "2026-02-"+c.day+",")), handInLatest, at, nil)
		if err != nil || b.Added != c.added || b.Updated != c.updated {
			t.Errorf("want %+v, have %+v, %v", c, b.Batch, err)
		}
	}
	healthy(t, s)
}

var seeds = flag.Uint64("seeds", 200, "histories of overlapping exports")

// Overlapping exports, edited, shuffled and undone at random, leave what a
// plain map of the newest rows holds.
func TestRandomExportsFollowAModel(t *testing.T) {
	seeds := *seeds
	if testing.Short() {
		seeds = 20
	}
	s := open(t) // one for all, as a database takes longer to make than to use
	for seed := range seeds {
		r := rand.New(rand.NewPCG(seed, 4))
		kind := fmt.Sprint("seed ", seed)
		type job struct {
			day   forecast.Date
			hours float64
		}
		shop := map[string]job{} // as it is in the shop's own system
		for i := range 40 {
			shop[fmt.Sprintf("%d\tL%d", seed*100+uint64(i/2), i%2)] = job{forecast.NewDate(2025, 1, 6) + forecast.Date(r.IntN(300)), float64(r.IntN(9))}
		}
		model := []map[string]job{{}}
		for range 4 {
			if r.IntN(4) == 0 && len(model) > 1 {
				if _, err := s.Undo(context.Background(), at); err != nil {
					t.Fatalf("seed %d: %v", seed, err)
				}
				model = model[:len(model)-1]
				continue
			}
			for _, k := range slices.Sorted(maps.Keys(shop)) {
				if r.IntN(5) == 0 {
					j := shop[k]
					j.hours = float64(r.IntN(9))
					shop[k] = j
				}
			}
			from := forecast.NewDate(2025, 1, 6) + forecast.Date(r.IntN(200))
			until := from + forecast.Date(r.IntN(200))
			now := maps.Clone(model[len(model)-1])
			want := store.Batch{}
			var text bytes.Buffer
			w := csv.NewWriter(&text)
			w.Write([]string{"ro_number", "line", "dropped_off", "kind", "quoted_hours"})
			keys := slices.Sorted(maps.Keys(shop))
			r.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
			for _, k := range keys {
				j := shop[k]
				if j.day < from || j.day > until {
					continue
				}
				ro, line, _ := strings.Cut(k, "\t")
				w.Write([]string{ro, line, j.day.String(), kind, fmt.Sprint(j.hours)})
				switch old, ok := now[k]; {
				case !ok:
					want.Added++
				case old != j:
					want.Updated++
				default:
					want.Unchanged++
				}
				now[k] = j
			}
			w.Flush()
			b := take(t, s, text.String())
			if b.Added != want.Added || b.Updated != want.Updated || b.Unchanged != want.Unchanged {
				t.Fatalf("seed %d: want %+v, have %+v", seed, want, b)
			}
			model = append(model, now)
		}
		var have, want []string
		if err := s.Lines(context.Background(), forecast.NewDate(2027, 1, 1), func(l store.Line) {
			if l.Kind == kind {
				have = append(have, fmt.Sprint(l.DroppedOff, l.Quoted.V))
			}
		}); err != nil {
			t.Fatal(err)
		}
		for _, j := range model[len(model)-1] {
			want = append(want, fmt.Sprint(j.day, j.hours))
		}
		slices.Sort(have)
		slices.Sort(want)
		if !slices.Equal(have, want) {
			t.Fatalf("seed %d: want\n%v\nhave\n%v", seed, want, have)
		}
	}
	healthy(t, s)
}

// Doubts about the file as a whole, each sort once.
func TestDoubts(t *testing.T) {
	s := open(t)
	monday := forecast.NewDate(2025, 1, 6)
	file := func(weeks int, edit func(week, i int, row []string) []string) string {
		var text strings.Builder
		text.WriteString("ro_number,dropped_off,kind\n")
		for w := range weeks {
			for i := range 6 {
				if row := edit(w, i, []string{fmt.Sprint(1000 + 6*w + i), (monday + forecast.Date(7*w+i)).String(), "plumbing"}); row != nil {
					text.WriteString(strings.Join(row, ",") + "\n")
				}
			}
		}
		return text.String()
	}
	same := func(_, _ int, row []string) []string { return row }
	for _, c := range []struct {
		what, says string
		text       string
	}{
		{"a plain year", "", file(40, same)},
		{"a row gone", "1 row on record from January 6, 2025 to October 11, 2025 is not in this file, and is kept: 1031 of February 11, 2025 plumbing", file(40, func(w, i int, row []string) []string {
			if w == 5 && i == 1 {
				return nil
			}
			return row
		})},
		{"a few rows of it", "", "ro_number,dropped_off,kind\n1000,2025-01-06,plumbing\n1239,2025-10-11,plumbing\n"},
		{"mended rows", "", "ro_number,dropped_off,kind,why it was rejected\n1000,2025-01-06,plumbing,\n1002,2025-01-08,plumbing,\n"}, // 1001 isn't among them
		{"a new kind", `work of a new kind: "water" (18 from September 22, 2025 on)`, file(40, func(w, i int, row []string) []string {
			if w >= 37 {
				row[2] = "water"
				row[0] = "9" + row[0]
			}
			return row
		})},
		{"a number again", "repair order 1239 was dropped off on October 11, 2025 (on record before) and on February 20, 2026", "ro_number,dropped_off,kind\n1239,2026-02-20,plumbing\n"},
		{"a number twice", "repair order 77 was dropped off on January 6, 2025 and on February 20, 2026", "ro_number,dropped_off,kind\n77,2025-01-06,plumbing\n77,2026-02-20,cooling\n"},
	} {
		b := take(t, s, c.text)
		if have := strings.Join(b.Doubts, "\n"); !strings.Contains(have, c.says) || c.says == "" && have != "" {
			t.Errorf("%s: want %q, have %q", c.what, c.says, have)
		}
	}
	s = open(t)
	b := take(t, s, file(40, func(w, i int, row []string) []string {
		switch {
		case w == 9:
			return nil
		case w == 10: // five weeks' worth in one
			return slices.Concat(row[:2], []string{"plumbing\n" + strings.Repeat(strings.Join(row, ",")+"\n", 4)})
		}
		return row
	}))
	if have := strings.Join(b.Doubts, "\n"); !strings.Contains(have, "no drop-offs at all in the week of March 10, 2025: a week usually has 6. Is a file of that time still to be imported?") || !strings.Contains(have, "5 times the usual 6 drop-offs or more in the week of March 17, 2025 (30)") {
		t.Errorf("want the empty week and the full one, have %q", have)
	}
}
