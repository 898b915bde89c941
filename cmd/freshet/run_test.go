package main

import (
	"encoding/json"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"freshet/ingest/store"
)

// Three exits: done, could not be done, wrong use; the reason on standard
// error, nothing on standard output.
func TestExitStatus(t *testing.T) {
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	bad := filepath.Join(t.TempDir(), "photo.csv")
	if err := os.WriteFile(bad, []byte("\x89PNG\x00\x00"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   string
		status int
		says   string
	}{
		{"version", done, ""},
		{"", done, ""},
		{"shop --name Ours --zone Europe/Lisbon", done, ""},
		{"shop --zone Moon/Crater", misuse, "Moon/Crater"},
		{"shop --open sat=2", misuse, "--open: need a share"},
		{"shop --bays two", misuse, "--bays: need a number"},
		{"shop --chance-limit 0", misuse, "--chance-limit: need a number from 1 to 99"},
		{"shop --ramp-weeks 2.5", misuse, "--ramp-weeks: need a whole number"},
		{"outlook", failed, "need drop-offs on record before that day, have none: import a file"},
		{"crew", failed, "need drop-offs on record before that day, have none: import a file"},
		{"import nowhere.csv", failed, "nowhere.csv"},
		{"import " + bad, failed, "photo.csv"},
		{"import", misuse, "need 'freshet import FILE…', have 'freshet import'"},
		{"forecast", misuse, `"forecast"`},
		{"outlook --weeks 105", misuse, "1 to 104"},
		{"outlook --weeks x", misuse, "weeks"},
		{"outlook --as-of 2026-02-30", misuse, "2026-02-30"},
		{"outlook today", misuse, "today"},
		{"score --origins 0", misuse, "origins"},
		{"crew --add-tech one", misuse, "add-tech"},
		{"crew --add-tech 1.5", misuse, "add-tech"},
		{"crew --add-tech 1@soon", misuse, "soon"},
		{"serve --listen 0.0.0.0:8137", misuse, "this machine alone"},
		{"serve --weeks 0", misuse, "--weeks: need 1 to 104"},
		{"work --weeks 105", misuse, "--weeks: need 1 to 104"},
		{"work --as-of 2026-11-23", misuse, "--as-of: 'freshet work'"},
	} {
		status, out, errs := call(t, strings.Fields(c.args)...)
		if status != c.status || !strings.Contains(errs, c.says) {
			t.Errorf("freshet %s: want %d and %q, have %d and %q", c.args, c.status, c.says, status, errs)
		}
		if status != done && (out != "" || !strings.HasPrefix(errs, "freshet: ")) {
			t.Errorf("freshet %s: want one line on standard error alone, have %q and %q", c.args, out, errs)
		}
	}
}

// The JSON of each command has the fields that programs rely on, with numbers
// or null where a number is due.
func TestContractJSON(t *testing.T) {
	if testing.Short() {
		t.Skip("one command after another: minutes under the race detector")
	}
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	if status, _, errs := call(t, "demo", "--as-of", "2026-11-23", "--files", dir); status != done {
		t.Fatal(errs)
	}
	files := []string{"import", "--json"}
	for _, f := range []string{"crew", "time-off", "events", "drop-offs"} {
		files = append(files, filepath.Join(dir, f+".csv"))
	}
	const spread = "mean p10 p50 p80 p90"
	for _, c := range []struct {
		args  []string
		paths map[string]string // where: which fields
	}{
		{files, map[string]string{"": "schema files", "files.0": "file kind rows added updated unchanged warned rejected rejects"}},
		{[]string{"outlook", "--json", "--weeks", "2", "--as-of", "2026-11-23"}, map[string]string{"": "schema as_of data_until weeks kinds model warnings",
			"weeks.0": "week drop_offs hours", "weeks.1.drop_offs": spread, "weeks.1.hours": spread, "kinds.0": "kind weeks", "kinds.0.weeks.0": "week drop_offs hours", "model": "drop_offs hours"}},
		{[]string{"crew", "--json", "--weeks", "2", "--as-of", "2026-11-23"}, map[string]string{"": "schema as_of weeks advice warnings",
			"weeks.0":                "week paid_hours available_hours expected_hours backlog_hours turnaround_days chance_short short_hours",
			"weeks.0.expected_hours": spread, "weeks.0.backlog_hours": spread, "weeks.0.turnaround_days": spread, "weeks.0.short_hours": spread,
			"advice.0": "do from until hours decide_by cost why"}},
		{[]string{"score", "--json", "--weeks", "1", "--origins", "4", "--as-of", "2026-11-23"}, map[string]string{"": "schema as_of drop_offs hours kinds quotes alerts",
			"alerts": "weeks false_per_year",
			"quotes": "n kept50 kept80 kept90 mean_days80 rules", "drop_offs": "origins mase wape coverage80 ratio_to_last_year", "hours": "origins mase wape coverage80 ratio_to_last_year"}},
	} {
		status, out, errs := call(t, c.args...)
		if status != done {
			t.Errorf("%v: %s", c.args, errs)
			continue
		}
		var v any
		d := json.NewDecoder(strings.NewReader(out))
		if err := d.Decode(&v); err != nil || d.More() {
			t.Errorf("%v: want one JSON object alone, have %v", c.args, err)
		}
		for path, fields := range c.paths {
			at := v
			for _, key := range strings.FieldsFunc(path, func(r rune) bool { return r == '.' }) {
				switch x := at.(type) {
				case []any:
					at = x[int(key[0]-'0')]
				case map[string]any:
					at = x[key]
				}
			}
			m, ok := at.(map[string]any)
			for _, f := range strings.Fields(fields) {
				if _, have := m[f]; !ok || !have {
					t.Errorf("%v: want %s at %q, have %v", c.args[0], f, path, at)
				}
			}
		}
	}
	// A flag of another day gives another answer; the same the same bytes.
	_, one, _ := call(t, "outlook", "--json", "--as-of", "2025-06-02")
	_, again, _ := call(t, "outlook", "--json", "--as-of", "2025-06-02")
	_, other, _ := call(t, "outlook", "--json", "--as-of", "2025-06-03")
	if one != again || one == other {
		t.Error("the same question must give the same bytes, another day others")
	}
}

// The real export of openrepair, which nobody wrote for us: every row is
// accounted for, and a past day gets an answer by week and category.
func TestOpenRepair(t *testing.T) {
	data := os.Getenv("FRESHET_DATA")
	if data == "" {
		data = filepath.Join("..", "..", "..", "shared", "data")
	}
	file := filepath.Join(data, "openrepair", "repairs.csv")
	if _, err := os.Stat(file); err != nil {
		t.Skip("the open repair data (CC BY-SA 4.0) isn't there: set FRESHET_DATA to its folder")
	}
	if testing.Short() {
		t.Skip("takes seconds")
	}
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	status, out, errs := call(t, "import", file, "--json", "--preview")
	var shown struct{ Files []store.Preview }
	if err := json.Unmarshal([]byte(out), &shown); err != nil || status != done {
		t.Fatal(err, errs)
	}
	guessed := map[string]string{}
	for _, c := range shown.Files[0].Columns {
		if c.Guessed {
			guessed[c.Header] = c.Field
		}
	}
	if want := map[string]string{"id": "ro_number", "event_date": "dropped_off", "product_category": "kind"}; !maps.Equal(guessed, want) {
		t.Errorf("have the guesses %v, need %v", guessed, want)
	}
	status, out, errs = call(t, "import", file, "--json", "--accept-guesses")
	var in imported
	if err := json.Unmarshal([]byte(out), &in); err != nil || status != done {
		t.Fatal(err, errs)
	}
	// The number of rows is the data folder's README's.
	if f := in.Files[0]; f.Rows != 121692 || f.Added+f.Updated+f.Unchanged+f.Rejected != f.Rows || f.Rejected > 0 {
		t.Errorf("have %+v", f)
	}
	status, out, errs = call(t, "outlook", "--json", "--as-of", "2019-06-03")
	if status != done {
		t.Fatal(errs)
	}
	var o struct {
		Weeks []struct{ Drop_offs map[string]float64 }
		Kinds []struct{ Kind string }
	}
	if err := json.Unmarshal([]byte(out), &o); err != nil {
		t.Fatal(err)
	}
	// In the 26 weeks before that day between 59 and 789 things were brought
	// each week (counted in the file); the next weeks must lie about there.
	for _, w := range o.Weeks {
		if m := w.Drop_offs["p50"]; m < 59 || m > 789 {
			t.Errorf("a week with a median of %v", m)
		}
	}
	if len(o.Kinds) < 30 {
		t.Errorf("want the product categories, have %d", len(o.Kinds))
	}
}

// Imports run one way: who may know whom.
func TestArrows(t *testing.T) {
	const module = "freshet/"
	// A folder, and what of the module it may depend on.
	allowed := map[string][]string{
		"forecast":     {"forecast"},
		"capacity":     {"forecast", "capacity"},
		"ingest":       {"forecast", "ingest"},
		"report":       {"forecast", "capacity", "report"},
		"cmd":          {"forecast", "capacity", "ingest", "report", "cmd"},
		"ingest/demo":  {"forecast"},
		"ingest/store": {"forecast", "ingest"},
	}
	// What the ground floor must not touch: no I/O, network, database or log.
	forbidden := map[string][]string{
		"forecast": {"database/sql", "net/http", "log", "log/slog", "os/exec", "embed"},
		"capacity": {"database/sql", "net/http", "log", "log/slog", "os/exec"},
		"report":   {"database/sql", "net/http", "log/slog", "os/exec"},
	}
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}{{range .Imports}} {{.}}{{end}}`, "freshet/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		pkg := strings.TrimPrefix(words[0], module)
		room, _, _ := strings.Cut(pkg, "/")
		rule, ok := allowed[pkg]
		if !ok {
			rule, ok = allowed[room]
		}
		if !ok {
			t.Errorf("%s lies outside the plan", pkg)
			continue
		}
		seen++
		for _, dep := range words[1:] {
			for _, bad := range forbidden[room] {
				if dep == bad && !strings.HasSuffix(pkg, "test") && pkg != "report/html" {
					t.Errorf("%s imports %s", pkg, dep)
				}
			}
			inner, ours := strings.CutPrefix(dep, module)
			if !ours {
				continue
			}
			good := false
			for _, a := range rule {
				good = good || inner == a || strings.HasPrefix(inner, a+"/")
			}
			if strings.HasSuffix(inner, "forecasttest") {
				good = false
			}
			if !good {
				t.Errorf("%s imports %s", pkg, inner)
			}
		}
	}
	if seen < 15 {
		t.Errorf("want every package looked at, have %d", seen)
	}
}

// The README's odd export: title lines, semicolons, decimal commas, a totals
// line, dates month first, and three rows that can't be taken.
func TestOddExport(t *testing.T) {
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	file := filepath.Join("..", "..", "testdata", "shop", "odd-export.csv")
	if status, _, errs := call(t, "import", file); status != failed || !strings.Contains(errs, "--map") {
		t.Errorf("want to be asked which column is which, have %d %q", status, errs)
	}
	status, out, errs := call(t, "import", file, "--json", "--map", "Order=ro_number", "--map", "Dropped=dropped_off", "--map", "Line of work=kind",
		"--map", "Est. hrs=quoted_hours", "--map", "Act. hrs=clocked_hours", "--map", "Done on=ready", "--map", "Remarks=note")
	var in imported
	if err := json.Unmarshal([]byte(out), &in); err != nil || status != done {
		t.Fatal(err, errs)
	}
	f := in.Files[0]
	if f.Rows != 10 || f.Added != 6 || f.Rejected != 4 {
		t.Errorf("want 6 of 10 rows added, have %+v", f)
	}
	for i, want := range []string{"not a day", "out of range", "before the drop-off", "totals line"} {
		if line := []int{9, 10, 12, 14}[i]; f.Rejects[i].Line != line || !strings.Contains(f.Rejects[i].Reason, want) {
			t.Errorf("want line %d rejected as %q, have %+v", line, want, f.Rejects[i])
		}
	}
	// The mapping was remembered.
	if status, out, errs := call(t, "import", file); status != done || !strings.Contains(out, "6 unchanged, 4 rejected") {
		t.Errorf("have %d %q %q", status, out, errs)
	}
}
