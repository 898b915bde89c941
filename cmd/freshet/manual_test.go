package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write the golden files and the manual's blocks anew")

// monday is the day on which tests live.
func monday() time.Time { return time.Date(2026, 11, 23, 15, 0, 0, 0, time.UTC) }

// call runs freshet and gives its exit status and both outputs.
func call(t testing.TB, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	status = run(context.Background(), args, &out, &err, monday)
	return status, out.String(), err.String()
}

// TestManual runs each block of main.go's package comment that begins with
// "$ freshet" in an empty folder, one after another, and compares what it
// prints, standard error after standard output.
func TestManual(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	source, err := os.ReadFile("main.go")
	if err != nil {
		t.Fatal(err)
	}
	path, err := filepath.Abs("main.go")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	t.Setenv("FRESHET_DB", "shop.db")
	lines := strings.Split(string(source), "\n")
	var fresh []string
	blocks := 0
	for i := 0; i < len(lines); i++ {
		fresh = append(fresh, lines[i])
		command, ok := strings.CutPrefix(lines[i], "\t$ freshet ")
		if !ok {
			continue
		}
		blocks++
		var want []string
		for i+1 < len(lines) && strings.HasPrefix(lines[i+1], "\t") {
			i++
			want = append(want, strings.TrimPrefix(lines[i], "\t"))
		}
		_, out, errs := call(t, strings.Fields(command)...)
		have := strings.Split(strings.TrimRight(out+errs, "\n"), "\n")
		for k := range have {
			have[k] = strings.TrimRight(have[k], " ")
			if have[k] == "" { // a blank line would end the block
				have[k] = "."
			}
			fresh = append(fresh, "\t"+have[k])
		}
		if strings.Join(have, "\n") != strings.Join(want, "\n") && !*update {
			t.Errorf("$ freshet %s\nwant:\n%s\nhave:\n%s", command, strings.Join(want, "\n"), strings.Join(have, "\n"))
		}
	}
	if blocks < 6 {
		t.Errorf("want at least 6 blocks in the manual, have %d", blocks)
	}
	if *update {
		if err := os.WriteFile(path, []byte(strings.Join(fresh, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
