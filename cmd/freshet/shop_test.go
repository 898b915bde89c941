package main

import (
	"encoding/json"
	"path/filepath"
	"slices"
	"testing"
)

// What a shop has said, and who may open its pages, for programs.
func TestSettingsForPrograms(t *testing.T) {
	db := filepath.Join(t.TempDir(), "a.db")
	answer := func(into any, args ...string) {
		t.Helper()
		status, out, errs := call(t, append(args, "--db", db, "--json")...)
		if err := json.Unmarshal([]byte(out), into); err != nil || status != done {
			t.Fatalf("%v: status %d, %v: %s%s", args, status, err, out, errs)
		}
	}
	var s shopJSON
	answer(&s, "shop", "--name", "Our Shop", "--lot-spaces", "25")
	for _, want := range []settingJSON{{"name", "Our Shop", true}, {"bays", "0 (no limit)", false}} {
		if !slices.Contains(s.Settings, want) {
			t.Errorf("want %+v among %+v", want, s.Settings)
		}
	}
	for _, want := range []limitJSON{{"lot-spaces", 25, true}, {"line-limit", 2, false}} {
		if !slices.Contains(s.Limits, want) {
			t.Errorf("want %+v among %+v", want, s.Limits)
		}
	}
	if s.Schema != 1 || s.Database != db {
		t.Errorf("have %+v", s)
	}
	var a accessJSON
	if answer(&a, "access"); a.Schema != 1 || a.Network || len(a.Passphrases) != 2 || a.Passphrases["owner"] || a.Passphrases["counter"] {
		t.Errorf("have %+v", a)
	}
}
