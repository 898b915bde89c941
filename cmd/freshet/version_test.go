package main

import (
	"encoding/json"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// Versions that are safe to run: SQLite before 3.51.3 can lose a write when its
// log is reset (its release notes).
func TestVersionNamesWhatItIsMadeOf(t *testing.T) {
	code, out, errs := call(t, "version", "--json")
	var b build
	if err := json.Unmarshal([]byte(out), &b); err != nil || code != done {
		t.Fatalf("status %d, %v: %s%s", code, err, out, errs)
	}
	if b.Go != runtime.Version() || b.OS != runtime.GOOS || b.Arch != runtime.GOARCH || b.Version == "" {
		t.Errorf("have %+v", b)
	}
	var v [3]int
	for i, p := range strings.Split(b.SQLite, ".") {
		v[i], _ = strconv.Atoi(p)
	}
	if v[0] != 3 || v[1] < 51 || v[1] == 51 && v[2] < 3 {
		t.Errorf("need SQLite 3.51.3 or newer, have %s", b.SQLite)
	}
}
