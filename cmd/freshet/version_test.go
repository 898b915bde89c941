package main

import (
	"encoding/json"
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/mod/modfile"
	"golang.org/x/mod/semver"
)

// TestLibrariesAreNewEnough wants none older than the first without a fault
// that strangers could use.
func TestLibrariesAreNewEnough(t *testing.T) {
	text, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	mod, err := modfile.Parse("go.mod", text, nil)
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]string{"go": "v" + mod.Go.Version}
	for _, r := range mod.Require {
		have[r.Mod.Path] = r.Mod.Version
	}
	for path, least := range map[string]string{
		"go":                          "v1.26.0", // the language that the code is written in
		"github.com/wneessen/go-mail": "v0.7.1",  // before it, an address could carry commands to the mail server (its security advisories, from memory)
		"golang.org/x/net":            "v0.38.0", // html: texts read as markup (GO-2025-3595, from memory)
		"golang.org/x/text":           "v0.3.8",  // language: slow to refuse (GO-2022-1059, from memory)
	} {
		if semver.Compare(have[path], least) < 0 {
			t.Errorf("%s: need %s or newer, have %q", path, least, have[path])
		}
	}
}

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
