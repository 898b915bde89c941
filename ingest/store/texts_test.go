package store_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"freshet/ingest"
	"freshet/ingest/store"
)

// TestTextsAreNoStatements takes in texts that would be statements if they were
// ever pasted into one, wherever a person's words go: each comes back as it
// was, and the tables are those of before.
func TestTextsAreNoStatements(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	before := store.Tables(t, s)
	words := []string{`'); DROP TABLE job_lines; --`, `" OR 1=1 --`, `x' UNION SELECT hash FROM passphrases --`, `%_`, `?1`, `:name`, `$1`, `\'`, "`x`", `[x]`, `''`, `/* x`, `Robert'); VACUUM; --`}
	quoted := func(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }
	var jobs, crew, off strings.Builder
	jobs.WriteString("ro_number,dropped_off,kind,unit,status,note\n")
	crew.WriteString("name,weekly_hours\n")
	off.WriteString("name,from,until\n")
	for i, w := range words {
		q := quoted(w)
		fmt.Fprintf(&jobs, "%s,2026-02-0%d,%s,%s,%s,%s\n", q, 1+i%9, q, q, q, q)
		fmt.Fprintf(&crew, "%s,40\n", q)
		fmt.Fprintf(&off, "%s,2026-02-02,2026-02-03\n", q)
	}
	for kind, text := range map[ingest.RowKind]string{ingest.DropOffs: jobs.String(), ingest.Crew: crew.String(), ingest.TimeOff: off.String()} {
		// Some names of people differ by no letter, and are one person's.
		if b := takeKind(t, s, kind, text); b.Rejected != 0 || kind == ingest.DropOffs && b.Added != len(words) {
			t.Fatalf("%s: want %d rows taken, have %+v", kind, len(words), b)
		}
	}
	for _, w := range words {
		if err := s.Set(ctx, w, w); err != nil {
			t.Fatal(err)
		}
		if v, err := s.Setting(ctx, w, ""); v != w || err != nil {
			t.Errorf("a setting comes back as %q, %v; was %q", v, err, w)
		}
		if err := s.Merge(ctx, []string{w}, w+w, at); err != nil {
			t.Errorf("%q: %v", w, err)
		}
	}
	kinds, err := s.Kinds(ctx)
	if err != nil {
		t.Fatal(err)
	}
	groups := map[string]store.Kind{}
	for _, k := range kinds {
		groups[k.Name] = k
	}
	for _, w := range words {
		if k := groups[w+w]; len(k.Words) != 1 || k.Words[0].Word != w || k.Jobs != 1 {
			t.Errorf("%q: have %+v", w, k)
		}
	}
	if after := store.Tables(t, s); after != before {
		t.Errorf("the tables were:\n%s\nand are:\n%s", before, after)
	}
	if h, err := s.Check(ctx); err != nil || len(h.Faults) > 0 {
		t.Errorf("have %v, %v", h.Faults, err)
	}
}
