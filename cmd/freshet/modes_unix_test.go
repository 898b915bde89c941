//go:build unix

package main

import (
	"io/fs"
	"path/filepath"
	"syscall"
	"testing"
)

// TestFilesAreTheirOwnersAlone writes every file that freshet writes where
// nothing but freshet itself keeps it from others: the database isn't
// encrypted, and a copy of it is the shop.
func TestFilesAreTheirOwnersAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	dir := t.TempDir()
	t.Chdir(dir)
	t.Setenv("FRESHET_DB", filepath.Join("kept", "shop.db"))
	before := syscall.Umask(0)
	defer syscall.Umask(before)
	for _, args := range [][]string{
		{"demo", "--files", "sample"},
		{"import", "sample/crew.csv", "sample/drop-offs.csv"},
		{"backup", "backup.db"},
		{"export", "records"},
		{"report", "--out", "report.html"},
		{"restore", "backup.db"},
	} {
		if status, out, errs := call(t, args...); status != done {
			t.Fatalf("%v: %s%s", args, out, errs)
		}
	}
	looked := 0
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		looked++
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s can be read by others: %v", path, info.Mode())
		}
		return nil
	})
	if err != nil || looked < 12 {
		t.Errorf("%d files were looked at, %v", looked, err)
	}
}
