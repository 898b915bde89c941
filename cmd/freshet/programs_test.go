package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What keeps records safe answers programs too: one line of JSON with its
// schema, and the numbers that a person reads.
func TestKeepingForPrograms(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("FRESHET_DB", filepath.Join(dir, "shop.db"))
	file := filepath.Join(dir, "jobs.csv")
	if err := os.WriteFile(file, []byte("ro_number,dropped_off,kind\n1,2026-11-02,gas\n2,2026-11-03,roof\n3,no day,roof\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ask := func(args ...string) map[string]any {
		t.Helper()
		status, out, errs := call(t, append(args, "--json")...)
		var v map[string]any
		if err := json.Unmarshal([]byte(out), &v); err != nil || status != done || v["schema"] != 1.0 || strings.Count(out, "\n") != 1 {
			t.Fatalf("%v: have %d %q %q, %v", args, status, out, errs, err)
		}
		return v
	}
	lines := func(v map[string]any) any { return v["records"].(map[string]any)["job_lines"] }
	ask("import", file)
	if status, _, errs := call(t, "rejects", "--json"); status != misuse || !strings.Contains(errs, "need no --json") {
		t.Errorf("rejects: have %d %q", status, errs)
	}
	if status, out, errs := call(t, "rejects"); status != done || !strings.Contains(out, "3,no day,roof,") {
		t.Errorf("rejects: have %d %q %q", status, out, errs)
	}
	backup := filepath.Join(dir, "backup.db")
	if v := ask("backup", backup); v["file"] != backup || v["batches"] != 1.0 || lines(v) != 2.0 {
		t.Errorf("backup: have %v", v)
	}
	folder := filepath.Join(dir, "all")
	if v := ask("export", folder); v["folder"] != folder || v["rows"].(map[string]any)["drop-offs"] != 2.0 {
		t.Errorf("export: have %v", v)
	}
	if v := ask("undo"); v["file"] != "jobs.csv" || v["kind"] != "drop-offs" || v["removed"] != 2.0 || v["put_back"] != 0.0 {
		t.Errorf("undo: have %v", v)
	}
	if status, _, errs := call(t, "undo"); status != failed || !strings.Contains(errs, "nothing to undo") {
		t.Errorf("undo of nothing: have %d %q", status, errs)
	}
	v := ask("restore", backup)
	if kept, _ := v["kept"].(string); lines(v) != 2.0 || !strings.HasPrefix(kept, filepath.Join(dir, "shop.db.before-restore-")) {
		t.Errorf("restore: have %v", v)
	}
	if status, out, errs := call(t, "backup", backup); status != done || !strings.Contains(out, ", in place of one of ") {
		t.Errorf("a second backup: have %d %q %q", status, out, errs)
	}
}

// How the letters go is said to programs, and paused and taken up again.
func TestMailForPrograms(t *testing.T) {
	t.Setenv("FRESHET_DB", filepath.Join(t.TempDir(), "shop.db"))
	if status, _, errs := call(t, "shop", "--name", "Ours"); status != done {
		t.Fatal(errs)
	}
	const paused = "Letters are paused: --resume sends them again."
	if status, out, _ := call(t, "mail", "--to", "you@example.com", "--schedule", "30 17 * * 4", "--pause"); status != done || !strings.Contains(out, paused) || !strings.Contains(out, "30 17 * * 4 (Thursdays at 17:30)") {
		t.Errorf("have %d %q", status, out)
	}
	if status, out, _ := call(t, "mail", "--resume"); status != done || strings.Contains(out, paused) {
		t.Errorf("have %d %q", status, out)
	}
	_, out, _ := call(t, "mail", "--json")
	var v struct {
		Schema  int
		Letters []any
	}
	if err := json.Unmarshal([]byte(out), &v); err != nil || v.Schema != 1 || v.Letters == nil || len(v.Letters) != 0 {
		t.Errorf("have %q, %v", out, err)
	}
	for args, c := range map[string]struct {
		status int
		says   string
	}{
		"mail --schedule nonsense":       {misuse, "--schedule: "},
		"mail --pause --resume":          {misuse, "need --pause or --resume, have both"},
		"mail --again 7":                 {failed, "there is no letter 7"},
		"mail --again -3":                {failed, "there is no letter -3"},
		"report --again 2026-W99":        {misuse, "need a week such as 2026-W48"},
		"report --again 2026-W48":        {failed, "have none of any week"},
		"report --again 2026-W48 --send": {misuse, "need --send or --again, have both"},
		"score --rows nonsense":          {misuse, "--rows: need quotes"},
		"serve --keep-days 0":            {misuse, "need 1 day or more"},
	} {
		if status, _, errs := call(t, strings.Fields(args)...); status != c.status || !strings.Contains(errs, c.says) {
			t.Errorf("%s: want %d and %q, have %d and %q", args, c.status, c.says, status, errs)
		}
	}
}
