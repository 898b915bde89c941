package main

import (
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"freshet/ingest/store"
)

// smallShop makes a database at path with a few years of drop-offs, a crew and
// a report.
func smallShop(t *testing.T, path string) (files []string) {
	t.Helper()
	dir := t.TempDir()
	if status, _, errs := call(t, "demo", "--files", dir); status != done {
		t.Fatal(errs)
	}
	files = []string{filepath.Join(dir, "drop-offs.csv"), filepath.Join(dir, "crew.csv")}
	if status, _, errs := call(t, append([]string{"import", "--db", path}, files...)...); status != done {
		t.Fatal(errs)
	}
	return files
}

// From a write-protected disk every question is answered, as a command and as a
// page under a banner; what would change the database is refused with the
// reason.
func TestWriteProtected(t *testing.T) {
	if testing.Short() {
		t.Skip("asks many questions")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no disk can be made here: %v %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", dir).Run() })
	db := filepath.Join(dir, "shop.db")
	t.Setenv("FRESHET_DB", db)
	files := smallShop(t, db)
	protect := func(how string) {
		t.Helper()
		if out, err := exec.Command("mount", "-o", "remount,"+how, dir).CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, out)
		}
	}
	protect("ro")
	t.Cleanup(func() { protect("rw") })
	for _, args := range [][]string{{"outlook"}, {"crew"}, {"report", "--out", filepath.Join(t.TempDir(), "report.html")}, {"check"}, {"watch"}, {"import", "--preview", files[0]}} {
		if status, out, errs := call(t, args...); status != done || out == "" {
			t.Errorf("%v: have %d, %q, %q", args, status, out, errs)
		}
	}
	for _, args := range [][]string{{"import", files[1]}, {"undo"}, {"shop", "--name", "Ours"}} {
		if status, out, errs := call(t, args...); status != failed || out != "" || !strings.Contains(errs, "freshet: the database can only be read: its disk, its folder or the file is write-protected") {
			t.Errorf("%v: have %d, %q, %q", args, status, out, errs)
		}
	}
	refusesChanges(t, served(t, monday, "serve"), "the database can only be read")
}

// refusesChanges looks at pages of which each must say why nothing can be
// changed, and posts a change.
func refusesChanges(t *testing.T, address, why string) {
	t.Helper()
	banner := "Nothing can be changed now:</strong> " + why
	var settings string
	for _, path := range []string{"/", "/records", "/settings"} {
		if settings = page(t, address+path); !strings.Contains(settings, banner) {
			t.Errorf("%s: want a banner with %q", path, why)
		}
	}
	token := regexp.MustCompile(`name="token" value="([^"]+)"`).FindStringSubmatch(settings)
	if token == nil {
		t.Fatal("there is no form on the page")
	}
	r, err := http.PostForm(address+"/records/undo", url.Values{"token": {token[1]}})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusServiceUnavailable || !strings.Contains(string(text), "Nothing can be changed now: "+why) {
		t.Errorf("want the change refused, have %s, %v, %.1000s", r.Status, err, text)
	}
}

// A database with broken pages is shown, and the newest backup named.
func TestDamagedDatabase(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop.db")
	smallShop(t, path)
	db, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	backups := filepath.Join(filepath.Dir(path), "backups")
	backup, err := db.Nightly(t.Context(), backups, store.UsualKeep, monday())
	if err != nil {
		t.Fatal(err)
	}
	db.Close()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for page := 100; page < 120; page++ { // far behind the schema
		copy(b[page*4096:], "\x0d\xff\xff\xff\xff\xff\xff\xff")
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	refusesChanges(t, served(t, monday, "serve", "--db", path), "the database is damaged, and nothing is written to it any more. The last good backup is "+filepath.Base(backup))
}
