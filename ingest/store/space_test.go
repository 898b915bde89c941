package store

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"freshet/forecast"
)

var text = "RO,Date In,Note\n" + strings.Repeat("7,2026-02-02,"+strings.Repeat("x", 138)+"\n", 3000) // 456,016 bytes

func takeInText(t *testing.T, s *Store) error {
	t.Helper()
	_, err := s.TakeIn(t.Context(), HandIn{Name: "jobs.csv", File: strings.NewReader(text), Size: int64(len(text))}, forecast.NewDate(2026, 3, 2), takenIn, nil)
	return err
}

// A file is refused before anything is written if its disk has less free than
// three times its size.
func TestRoomForAFile(t *testing.T) {
	s := openAt(t, filepath.Join(t.TempDir(), "shop.db"))
	need := uint64(3 * len(text))
	for _, c := range []struct {
		free  uint64
		known bool
		ok    bool
	}{{need - 1, true, false}, {need, true, true}, {0, false, true}} {
		asked := ""
		s.free = func(folder string) (uint64, bool) { asked = folder; return c.free, c.known }
		err := takeInText(t, s)
		if asked != filepath.Dir(s.Path()) {
			t.Errorf("want the database's disk asked about, have %q", asked)
		}
		if c.ok != (err == nil) || err != nil && !strings.Contains(err.Error(), "need 1.4 MB free on the disk with the database, three times the size of the file, have 1.4 MB") {
			t.Errorf("%d bytes free: have %v", c.free, err)
		}
	}
}

// The same on a small disk.
func TestRoomOnADisk(t *testing.T) {
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be made here: %v %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", dir).Run() })
	s := openAt(t, filepath.Join(dir, "shop.db"))
	filler := filepath.Join(dir, "filler")
	if err := os.WriteFile(filler, make([]byte, 3<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := takeInText(t, s); err == nil || !strings.Contains(err.Error(), "need 1.4 MB free") {
		t.Errorf("want the file refused, have %v", err)
	}
	if b, err := s.Batches(t.Context(), 9); err != nil || len(b) != 0 {
		t.Errorf("want nothing begun, have %v, %v", b, err)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if err := takeInText(t, s); err != nil {
		t.Error(err)
	}
}
