package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestKinds(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	file := filepath.Join(dir, "jobs.csv")
	if err := os.WriteFile(file, []byte("RO,Date In,Type\n1,2026-02-02,AC\n2,2026-02-03,AC\n3,2026-02-04,roof air\n4,2026-02-05,Awning\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, step := range []struct {
		want string
		args []string
	}{
		{"4 added", []string{"import", file}},
		{`roof air (1 job) may be AC: both are usual words for air conditioning.`, []string{"kinds", "suggest"}},
		{`{"schema":1,"suggestions":[{"kind":"roof air","jobs":1,"into":"AC","why":"both are usual words for air conditioning"}]}`, []string{"kinds", "suggest", "--json"}},
		{"AC      3     2026-02-04  AC (2), roof air (1)", []string{"kinds", "merge", "roof air", "--into", "AC"}},
		{`"kind":"Cooling","words":[{"word":"AC","jobs":2,"last_seen":"2026-02-03"}`, []string{"kinds", "rename", "AC", "Cooling", "--json"}},
		{"roof air  1 ", []string{"kinds", "split", "roof air"}},
		{"Taken back: split of roof air.", []string{"kinds", "undo"}},
		{"Cooling  3 ", []string{"kinds"}},
	} {
		if status, out, errs := call(t, step.args...); status != done || !strings.Contains(out, step.want) {
			t.Errorf("freshet %s: want %q, have %d %s%s", strings.Join(step.args, " "), step.want, status, out, errs)
		}
	}
	for _, args := range [][]string{{"kinds", "merge", "AC"}, {"kinds", "merge"}, {"kinds", "rename", "AC"}, {"kinds", "mrge"}} {
		if status, _, errs := call(t, args...); status != misuse {
			t.Errorf("%v: want misuse, have %d %s", args, status, errs)
		}
	}
}
