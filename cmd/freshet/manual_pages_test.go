package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestManualPages holds the pages in manual/ to what the commands say of
// themselves, and looks for words that no owner of a shop uses.
func TestManualPages(t *testing.T) {
	const kept = "manual"
	fresh := t.TempDir()
	if *update {
		if err := os.RemoveAll(kept); err != nil {
			t.Fatal(err)
		}
		fresh = kept
	}
	if status, _, errs := call(t, "manual", fresh); status != done {
		t.Fatal(errs)
	}
	want, have := pagesIn(t, fresh), pagesIn(t, kept)
	for name, text := range want {
		if have[name] != text {
			t.Errorf("%s isn't what the command says: 'go test ./cmd/freshet -run ManualPages -update' makes it anew", filepath.Join(kept, name))
		}
		for _, jargon := range []string{" float ", " int ", " string ", "stdout", "cron", "regex"} {
			if strings.Contains(text, jargon) {
				t.Errorf("%s speaks of %q", name, strings.TrimSpace(jargon))
			}
		}
	}
	for name := range have {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is of a command that there isn't", filepath.Join(kept, name))
		}
	}
	if len(want) < 20 {
		t.Errorf("want at least 20 pages, have %d", len(want))
	}
}

// TestEveryCommandIsExplained wants more than a line and an example of each
// command that isn't below another.
func TestEveryCommandIsExplained(t *testing.T) {
	a := &app{now: monday}
	for _, c := range a.root().Commands() {
		if c.Name() == "version" || c.Name() == "help" {
			continue
		}
		if c.Long == "" || c.Example == "" {
			t.Errorf("%s has no explanation or no example", c.CommandPath())
		}
		for _, line := range strings.Split(c.Example, "\n") {
			if !strings.Contains("  "+strings.TrimPrefix(strings.TrimSpace(line), "sudo ")+" ", "  freshet "+c.Name()+" ") {
				t.Errorf("%s: an example begins %q", c.CommandPath(), line)
			}
		}
	}
}

// TestManPages makes pages for the command man.
func TestManPages(t *testing.T) {
	dir := t.TempDir()
	if status, _, errs := call(t, "manual", "--man", dir); status != done {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(filepath.Join(dir, "freshet-quote.1"))
	if err != nil {
		t.Fatal(err)
	}
	if s := string(text); !strings.HasPrefix(s, `.nh`) || !strings.Contains(s, "Nov 2026") || !strings.Contains(s, "--parts-days") {
		t.Errorf("have %.400s", s)
	}
}

func pagesIn(t *testing.T, dir string) map[string]string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.md"))
	if err != nil {
		t.Fatal(err)
	}
	pages := map[string]string{}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		pages[filepath.Base(f)] = string(text)
	}
	return pages
}
