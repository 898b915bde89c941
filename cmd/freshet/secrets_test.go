package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestSecretsStayWhereTheyBelong gives freshet a password, a passphrase and a
// customer's words, lets the commands run, among them some that fail, and looks
// for them in all that is printed and in every file that is written: the
// password stands in its own file alone, and the customer's words in the records.
func TestSecretsStayWhereTheyBelong(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	t.Setenv("TMPDIR", filepath.Join(dir, "temporary"))
	if err := os.Mkdir("temporary", 0o700); err != nil {
		t.Fatal(err)
	}
	const secret, customer = "heron-lantern-quartz", "Mrs Winterbottom 555-0199"
	for name, text := range map[string]string{
		"password.txt":  secret + "\n",
		"drop-offs.csv": "ro_number,dropped_off,kind,note\n1,2026-11-02,cooling," + customer + "\n2,soon,cooling," + customer + "\n",
		"crew.csv":      "name,weekly_hours\nAnsel,40\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("FRESHET_DB", filepath.Join(dir, "kept", "shop.db"))
	var printed strings.Builder
	tell := func(want int, args ...string) {
		t.Helper()
		status, out, errs := call(t, args...)
		if status != want {
			t.Fatalf("%v: want status %d, have %d: %s%s", args, want, status, out, errs)
		}
		printed.WriteString(out + errs)
	}
	tell(done, "shop", "--name", "Quillback", "--zone", "America/Denver")
	tell(done, "import", "drop-offs.csv", "crew.csv")
	tell(done, "mail", "--to", "owner@quillback.example", "--from", "shop@quillback.example", "--host", "127.0.0.1", "--port", "1", "--user", "shop", "--password-file", "password.txt")
	tell(failed, "mail", "--test") // nobody listens there
	tell(misuse, "import", "drop-offs.csv", "--map", "note=nothing")
	tell(done, "report", "--out", "report.html")
	tell(failed, "report", "--send") // it waits for its server
	tell(done, "mail")
	tell(done, "backup", filepath.Join("kept", "backup.db"))
	tell(done, "check")
	tell(done, "outlook", "--json")
	if strings.Contains(printed.String(), secret) {
		t.Errorf("the password is printed:\n%s", printed.String())
	}
	if strings.Contains(printed.String(), customer) {
		t.Errorf("a customer's words are printed:\n%s", printed.String())
	}
	looked := 0
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		looked++
		if strings.Contains(string(text), secret) && filepath.Base(path) != "password.txt" {
			t.Errorf("the password is in %s", path)
		}
		records := filepath.Base(path) == "drop-offs.csv" || strings.HasPrefix(path, filepath.Join(dir, "kept"))
		if strings.Contains(string(text), customer) && !records {
			t.Errorf("a customer's words are in %s", path)
		}
		return nil
	})
	if err != nil || looked < 6 {
		t.Errorf("%d files were looked at, %v", looked, err)
	}
}
