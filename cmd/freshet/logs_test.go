package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"freshet/ingest"
	"freshet/ingest/store"
)

// An error is logged by its types and the system's words, without its own.
func TestLogOfErrors(t *testing.T) {
	var out bytes.Buffer
	log, file := logBeside(filepath.Join(t.TempDir(), "shop.db"), &out)
	defer file.Close()
	for _, c := range []struct {
		err  error
		want string
	}{
		{fmt.Errorf("Ansel's file: %w", &fs.PathError{Op: "open", Path: "/home/ansel", Err: syscall.ENOENT}), `fs.PathError: syscall.Errno \"no such file or directory\"`},
		{fmt.Errorf("%q: %w", "Ansel", &ingest.RowError{File: "ansel.csv", Value: "Ansel"}), "error=ingest.RowError"},
		{errors.Join(errors.New("Ansel"), fmt.Errorf("Ansel: %w", os.ErrClosed)), `"errors.errorString; errors.errorString"`},
		{fmt.Errorf("Ansel: %w", &store.Newer{Have: 13, Need: 12, Group: true, Shops: []string{"east"}}), "a newer freshet wrote the tables of east: need version 12 or less, have 13"},
		{fmt.Errorf("Ansel: %w", &store.Gone{Shop: "east"}), "the records of east aren't in the database"},
	} {
		out.Reset()
		log.Error("a line", "error", c.err)
		if have := out.String(); !strings.Contains(have, c.want) || strings.Contains(strings.ToLower(have), "ansel") {
			t.Errorf("%v: want %s and nothing of its words, have %s", c.err, c.want, have)
		}
	}
}

// Nothing of the shop's customers and no secret gets into the log, whatever
// goes wrong: files that aren't understood, a mail server that refuses, forms
// that fail, guesses at passphrases.
func TestLogKeepsSecrets(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "shop.db")
	exports := filepath.Join(dir, "exports")
	if err := os.Mkdir(exports, 0o755); err != nil {
		t.Fatal(err)
	}
	const canary = "canary"
	old := time.Now().Add(-time.Hour)
	for name, text := range map[string]string{
		"canary-odd.csv":  "canary phone,canary\n555-canary,canary\n",
		"canary-rows.csv": "ro_number,dropped_off,kind,note\ncanary-1,2026-11-02,canary,canary\ncanary-2,canary,canary,canary\n",
		"canary.xlsx":     "PK\x03\x04canary",
		"canary.ics":      "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nSUMMARY:canary\r\nDTSTART;VALUE=DATE:20261224\r\nDTEND;VALUE=DATE:20261225\r\nUID:1\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
	} {
		path := filepath.Join(exports, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, old, old); err != nil {
			t.Fatal(err)
		}
	}
	box, port := postOffice(t)
	password := filepath.Join(dir, "canary-password")
	if err := os.WriteFile(password, []byte("canary-password-1"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"shop", "--name", "Canary", "--zone", "UTC", "--folder", exports},
		{"mail", "--to", "nobody@canary.example", "--from", "shop@canary.example", "--host", "127.0.0.1", "--port", port, "--security", "none", "--user", "canary", "--password-file", password}} {
		if status, _, errs := call(t, append(args, "--db", db)...); status != done {
			t.Fatal(errs)
		}
	}
	now := func() time.Time { return time.Now().Add(8 * 24 * time.Hour) } // past the next Monday
	t.Run("served", func(t *testing.T) {                                  // ends before the log is read
		at := served(t, now, "serve", "--db", db)
		settled(t, at)
		for _, path := range []string{"/canary", "/import/canary", "/records", "/watch?canary=canary"} {
			r, err := http.Get(at + path)
			if err != nil {
				t.Fatal(err)
			}
			r.Body.Close()
		}
		for _, path := range []string{"/login", "/settings/shop", "/records/undo"} {
			r, err := http.PostForm(at+path, url.Values{"passphrase": {"canary passphrase 99"}, "role": {"owner"}, "name": {canary}})
			if err != nil {
				t.Fatal(err)
			}
			r.Body.Close()
		}
		if r, err := http.Get(at + "/readyz"); err != nil || r.StatusCode != 200 {
			t.Errorf("want it ready, have %v, %v", r, err)
		} else {
			io.Copy(io.Discard, r.Body)
			r.Body.Close()
		}
	})
	text, err := os.ReadFile(filepath.Join(dir, "shop.log"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(text, []byte("watched folder was left")) || !bytes.Contains(text, []byte("a letter")) || len(box.got) != 0 {
		t.Errorf("want the log to tell of files left and of a letter, so that its silence means something: %s", text)
	}
	for line := range bytes.Lines(text) {
		if bytes.Contains(bytes.ToLower(line), []byte(canary)) {
			t.Errorf("in the log: %s", line)
		}
	}
	if info, err := os.Stat(filepath.Join(dir, "shop.log")); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("want the log its owner's alone, have %v, %v", info.Mode(), err)
	}
}
