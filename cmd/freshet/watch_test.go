package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
)

// The demo shop's odd summer: its flood is an alert with its kinds, its JSON
// has the contract's fields, and a day later than the flood is quiet again.
func TestWatch(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	if status, _, errs := call(t, "watch", "--as-of", "2026-11-23"); status != failed || !strings.Contains(errs, "import a file first") {
		t.Errorf("without records: %d, %s", status, errs)
	}
	if status, _, errs := call(t, "demo", "--as-of", "2026-11-23", "--files", dir); status != done {
		t.Fatal(errs)
	}
	if status, _, errs := call(t, "import", filepath.Join(dir, "crew.csv"), filepath.Join(dir, "time-off.csv"), filepath.Join(dir, "drop-offs.csv")); status != done {
		t.Fatal(errs)
	}
	status, out, errs := call(t, "watch", "--as-of", "2026-08-31")
	if status != done {
		t.Fatal(errs)
	}
	for _, words := range []string{"Run, since 2026-08-03 [run-", "It is mostly cooling (+", "Kind (cooling), since", "The 2026 season: ", "2026-08-24", "busy"} {
		if !strings.Contains(out, words) {
			t.Errorf("want %q in\n%s", words, out)
		}
	}
	if _, out, _ := call(t, "watch", "--as-of", "2026-11-23"); !strings.HasPrefix(out, "No week and no kind of work is out of the ordinary.") {
		t.Errorf("in November:\n%s", out)
	}
	status, out, errs = call(t, "watch", "--json", "--as-of", "2026-08-31")
	var v struct {
		Schema int
		AsOf   string `json:"as_of"`
		Weeks  []map[string]any
		Alerts []map[string]any
		Season map[string]any
	}
	if err := json.Unmarshal([]byte(out), &v); status != done || err != nil || v.Schema != 1 || v.AsOf != "2026-08-31" || len(v.Weeks) != 26 || len(v.Alerts) == 0 {
		t.Fatalf("%d, %v, %s\n%s", status, err, errs, out)
	}
	has := func(what string, in map[string]any, fields string) {
		for _, f := range strings.Fields(fields) {
			if in[f] == nil {
				t.Errorf("%s: no %s in %v", what, f, in)
			}
		}
	}
	has("a week", v.Weeks[0], "week drop_offs expected chance verdict")
	has("its spread", v.Weeks[0]["expected"].(map[string]any), "mean p10 p50 p80 p90")
	has("an alert", v.Alerts[0], "id rule kind since until observed expected chance summary")
	has("the season", v.Season, "year shift_days level_ratio verdict")
	if _, again, _ := call(t, "watch", "--json", "--as-of", "2026-08-31"); again != out {
		t.Error("the same question had two answers")
	}
}

// What is said of an alert shows at once, and can be taken back.
func TestSaying(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	call(t, "demo", "--as-of", "2026-11-23", "--files", dir)
	call(t, "import", filepath.Join(dir, "drop-offs.csv"))
	on := []string{"watch", "--as-of", "2026-08-31"}
	_, out, _ := call(t, on...)
	_, rest, _ := strings.Cut(out, "[run-")
	day, _, _ := strings.Cut(rest, "]")
	name := "run-" + day
	for _, step := range []struct {
		want string
		args []string
	}{
		{"Seen by the command line on August 31.", []string{"--seen", name}},
		{"Explained by the command line on August 31: a storm.\n", []string{"--explain", name, "--because", "a storm"}},
		{"The days from August 3 to October 4 won't bend next year's season.", []string{"--explain", name, "--because", "a storm", "--one-time", "--from", "2026-08-03", "--until", "2026-10-04"}},
		{"Explained by the command line on August 31: a storm.\n", []string{"--take-back", name}},
		{`"note":{"because":"","one_time":false,`, []string{"--take-back", name, "--json"}},
	} {
		if status, out, errs := call(t, append(on, step.args...)...); status != done || !strings.Contains(out, step.want) {
			t.Errorf("%v: want %q, have %d %s%s", step.args, step.want, status, out, errs)
		}
	}
	if status, back, _ := call(t, append(on, "--take-back", name)...); status != done || back != out {
		t.Errorf("with all taken back the answer differs:\n%s", back)
	}
	for want, args := range map[int][][]string{
		misuse: {{"--seen", name, "--take-back", name}, {"--seen", ""}, {"--explain", name}, {"--because", "x"}, {"--explain", name, "--because", "x", "--until", "2026-10-04"},
			{"--explain", name, "--because", "x", "--one-time", "--until", "October"}},
		failed: {{"--seen", "run-2020-01-06"}, {"--take-back", name}, {"--explain", name, "--because", "x", "--one-time", "--until", "2020-10-04"}},
	} {
		for _, a := range args {
			if status, _, errs := call(t, append(on, a...)...); status != want || !strings.Contains(errs, "need") {
				t.Errorf("%v: want %d, have %d %s", a, want, status, errs)
			}
		}
	}
}
