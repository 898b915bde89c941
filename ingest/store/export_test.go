package store_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

// takeKind imports text of any kind of rows, as the command line does.
func takeKind(t testing.TB, s *store.Store, kind ingest.RowKind, text string) store.Batch {
	t.Helper()
	sheet, err := ingest.Open(string(kind)+".csv", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, kind), forecast.NewDate(2026, 3, 3))
	if err != nil {
		t.Fatal(err)
	}
	b, err := s.Import(context.Background(), store.Batch{File: sheet.Name, Kind: kind, TakenIn: at, Headers: sheet.Headers, Delimiter: sheet.Delimiter, Mended: sheet.Mended}, rows, nil)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// All records, exported, change nothing where they came from, and make the same
// records in an empty database.
func TestExportComesBack(t *testing.T) {
	s, fresh := open(t), open(t)
	take(t, s, export)
	take(t, s, "ro_number,line,dropped_off,kind,emergency,note\n8,A,2026-02-05,cooling,yes,\"two\nlines, \"\"quoted\"\"\"\n8,B,2026-02-05,'@home,no,'=1+1\n")
	var many strings.Builder
	for i := range 12 {
		fmt.Fprintf(&many, "9,2026-02-06,plumbing,%d\n", i)
	}
	take(t, s, "ro_number,dropped_off,kind,quoted_hours\n"+many.String())
	takeKind(t, s, ingest.Crew, "name,weekly_hours,productivity,skills,from\nOda,40,0.85,all,\n+Pell,32,,plumbing;electrical,2026-04-01\n")
	takeKind(t, s, ingest.TimeOff, "name,from,until\nshop,2026-12-24,2026-12-31\n")
	takeKind(t, s, ingest.Events, "name,from,until,effect\nhail,2025-06-02,2025-06-04,one-time\n")
	for _, kind := range ingest.RowKinds() {
		var b bytes.Buffer
		n, err := s.Export(context.Background(), kind, &b)
		if err != nil || n == 0 {
			t.Fatal(n, err)
		}
		if again := takeKind(t, s, kind, b.String()); again.Unchanged != n || again.Rows != n {
			t.Errorf("%s: want %d unchanged, have %+v\n%s", kind, n, again, b.String())
		}
		if other := takeKind(t, fresh, kind, b.String()); other.Added != n || other.Rows != n {
			t.Errorf("%s: want %d added, have %+v", kind, n, other)
		}
	}
}

// No cell of an export begins like a formula, and each comes back.
func TestExportIsSafe(t *testing.T) {
	s := open(t)
	r := rand.New(rand.NewPCG(1, 9))
	signs := []rune("=+-@'\t\r\n ＝＋－＠\u00a0\"a1;,(")
	var text strings.Builder
	text.WriteString("ro_number,line,dropped_off,kind,note\n")
	for i := range 2000 {
		note := []rune("")
		for range r.IntN(6) {
			note = append(note, signs[r.IntN(len(signs))])
		}
		fmt.Fprintf(&text, "%d,A,2026-02-05,=cmd|calc,\"%sx\"\n", i, strings.ReplaceAll(string(note), `"`, `""`))
	}
	if b := take(t, s, text.String()); b.Added != 2000 {
		t.Fatalf("%+v", b)
	}
	var out bytes.Buffer
	if _, err := s.Export(context.Background(), ingest.DropOffs, &out); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(out.Bytes())).ReadAll()
	if err != nil || len(rows) != 2001 {
		t.Fatal(len(rows), err)
	}
	for _, row := range rows {
		for _, cell := range row {
			if c := strings.TrimLeft(cell, " \u00a0"); c != "" && strings.ContainsRune("=+-@\t\r\n＝＋－＠", []rune(c)[0]) {
				t.Errorf("%q may be run", cell)
			}
		}
	}
	if b := take(t, s, out.String()); b.Unchanged != 2000 {
		t.Errorf("want all back as they were, have %+v", b)
	}
}

// Rejected rows come back as a file of the same make, which can be mended.
func TestRejectsComeBack(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	takeKind(t, s, ingest.DropOffs, "ro_number;dropped_off;kind;quoted_hours\n1;2026-02-05;a;1,5\n2;2026-02-30;\"b;c\";1,25\n3;2026-02-06;d;soon;too;many\n4;2026-02-07;=e;-1\n")
	batches, err := s.Batches(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	n, err := s.ExportRejects(ctx, batches[0], &b)
	want := "sep=;\nro_number;dropped_off;kind;quoted_hours;why it was rejected\n" +
		"2;2026-02-30;\"b;c\";1,25;drop-offs.csv:3: dropped_off 2026-02-30 is not a day (row 3 of import 1)\n" +
		"3;2026-02-06;d;soon;drop-offs.csv:4: has 6 cells, need at most 4 as the header (row 4 of import 1);too;many\n" +
		"4;2026-02-07;'=e;'-1;drop-offs.csv:5: quoted_hours -1 is out of range, need hours from 0 to 2000 (row 5 of import 1)\n"
	if err != nil || n != 3 || b.String() != want {
		t.Errorf("want\n%s\nhave\n%s\n%v", want, b.String(), err)
	}
	mended := strings.NewReplacer("02-30", "02-28", "'-1", "1").Replace(b.String())
	if b := takeKind(t, s, ingest.DropOffs, mended); b.Added != 2 || b.Rejected != 1 {
		t.Errorf("want the mended rows added and the other rejected again, have %+v", b)
	}
	jobs, err := s.Open(ctx, forecast.NewDate(2026, 1, 1), forecast.NewDate(2026, 3, 3))
	if err != nil || len(jobs) != 3 || jobs[2].Quoted.V != 1.25 || jobs[1].Kind != "=e" {
		t.Errorf("have %+v, %v", jobs, err)
	}
}
