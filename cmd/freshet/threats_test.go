package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestThreatTable holds the table in DEVELOPERS.md to the tree: each row names
// at least one test, and each test that is named is there.
func TestThreatTable(t *testing.T) {
	text, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, ok := strings.Cut(string(text), "\n## What may go wrong, and the test that notices\n")
	if !ok {
		t.Fatal("DEVELOPERS.md has no table of what may go wrong")
	}
	table, _, _ = strings.Cut(table, "\n## ")
	tests := testsOf(t, "../..")
	name := regexp.MustCompile("`([^` ]+)`")
	rows := 0
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if !strings.HasPrefix(line, "|") || strings.HasPrefix(line, "|---") || strings.TrimSpace(cells[0]) == "what may go wrong" {
			continue
		}
		rows++
		if len(cells) != 3 {
			t.Errorf("a row has %d cells: %s", len(cells), line)
			continue
		}
		named := name.FindAllStringSubmatch(cells[2], -1)
		if len(named) == 0 {
			t.Errorf("%q has no test", strings.TrimSpace(cells[0]))
		}
		for _, n := range named {
			if !tests[n[1]] {
				t.Errorf("%q names %s, which isn't there", strings.TrimSpace(cells[0]), n[1])
			}
		}
	}
	if rows < 30 {
		t.Errorf("want at least 30 rows, have %d", rows)
	}
}

// testsOf names the tests and fuzz targets below a folder, each with the
// folder of its package.
func testsOf(t *testing.T, root string) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		folder, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil && (strings.HasPrefix(fn.Name.Name, "Test") || strings.HasPrefix(fn.Name.Name, "Fuzz")) {
				names[filepath.ToSlash(folder)+"."+fn.Name.Name] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}
