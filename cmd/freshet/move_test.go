package main

import (
	"path/filepath"
	"strings"
	"testing"

	"freshet/ingest/store/pgtest"
)

// A shop goes into PostgreSQL and back, and answers there as it did before.
func TestMove(t *testing.T) {
	address := pgtest.Database(t)
	dir := t.TempDir()
	file, back := filepath.Join(dir, "shop.db"), filepath.Join(dir, "back.db")
	must := func(args ...string) string {
		t.Helper()
		status, out, errs := call(t, args...)
		if status != done {
			t.Fatalf("%v: %d %s", args, status, errs)
		}
		return out
	}
	must("import", "--db", file, "--accept-guesses", filepath.Join("..", "..", "testdata", "shop", "odd-export.csv"))
	before := must("kinds", "--db", file)
	must("move", "--from", file, "--to", address+"&shop=north")
	for _, args := range [][]string{{"kinds", "--db", address + "&shop=north"}, {"kinds", "--db", address, "--shop", "north"}} {
		if have := must(args...); have != before {
			t.Errorf("%v: want\n%s\nhave\n%s", args, before, have)
		}
	}
	must("check", "--db", address, "--shop", "north")
	if status, _, errs := call(t, "move", "--from", file, "--to", address+"&shop=north"); status != failed || !strings.Contains(errs, "nothing in it") {
		t.Errorf("want no second move, have %d %s", status, errs)
	}
	for want, args := range map[string][]string{
		"did you mean north":   {"kinds", "--db", address, "--shop", "nort"},
		"PostgreSQL's own":     {"backup", "--db", address, "--shop", "north", filepath.Join(dir, "backup.db")},
		"postgres://":          {"kinds", "--db", file, "--shop", "north"},
		"need --from and --to": {"move", "--from", file},
		"need the name of":     {"move", "--from", file, "--to", address},
		"names no shop yet":    {"move", "--from", file, "--to", address + "&shop=south", "--shop", "north"},
	} {
		if status, _, errs := call(t, args...); status == done || !strings.Contains(errs, want) {
			t.Errorf("%v: want %q, have %d %s", args, want, status, errs)
		}
	}
	must("move", "--from", file, "--to", address, "--shop", "south")
	if have := must("kinds", "--db", address, "--shop", "south"); have != before {
		t.Errorf("want\n%s\nhave\n%s", before, have)
	}
	must("move", "--from", address+"&shop=north", "--to", back)
	if have := must("kinds", "--db", back); have != before {
		t.Errorf("want\n%s\nhave\n%s", before, have)
	}
}
