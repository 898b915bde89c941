package store

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"freshet/forecast"
)

// protect makes a disk with the database in it, as leave leaves it there, and
// write-protects it.
func protect(t *testing.T, leave func(path string)) (path string) {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no disk can be made here: %v %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", dir).Run() })
	path = filepath.Join(dir, "shop.db")
	leave(path)
	if out, err := exec.Command("mount", "-o", "remount,ro", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	if _, err := os.Create(filepath.Join(dir, "x")); !errors.Is(err, readOnlyDisk) {
		t.Fatalf("want a write-protected disk, have %v", err)
	}
	return path
}

// left copies a database as a crash leaves it, with the files named by their
// ends, after an import that is in its log alone.
func left(t *testing.T, path string, ends ...string) {
	t.Helper()
	s := openAt(t, filepath.Join(t.TempDir(), "shop.db"))
	if _, err := importJobs(s, &jobs{n: 50}); err != nil {
		t.Fatal(err)
	}
	for _, end := range ends {
		b, err := os.ReadFile(s.Path() + end)
		if err == nil {
			err = os.WriteFile(path+end, b, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A database on a write-protected disk is read, its log too if one is left
// there; what would change it is refused with the reason.
func TestReadOnlyDisk(t *testing.T) {
	OfAFile(t)
	for name, leave := range map[string]func(path string){
		"closed": func(path string) {
			s := openAt(t, path)
			if _, err := importJobs(s, &jobs{n: 50}); err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		},
		"killed": func(path string) { left(t, path, "", "-wal", "-shm") },
	} {
		t.Run(name, func(t *testing.T) {
			s := openAt(t, protect(t, leave))
			if h := checked(t, s); h.Batches != 1 || h.Records["job_lines"] != 50 {
				t.Errorf("have %+v", h)
			}
			r := s.Refusal()
			if r == nil || r.Why != whyProtected || s.Ready(t.Context()) == nil {
				t.Errorf("have %v", r)
			}
			text := "RO,Date In\n1,2026-02-02\n"
			_, takeIn := s.TakeIn(t.Context(), HandIn{Name: "jobs.csv", File: strings.NewReader(text), Size: int64(len(text))}, forecast.NewDate(2026, 3, 2), takenIn, nil)
			_, imported := importJobs(s, &jobs{n: 5})
			for _, err := range []error{takeIn, imported, s.Set(t.Context(), "a", "b")} {
				if !errors.As(err, new(*Refusal)) || !strings.Contains(err.Error(), "can only be read") {
					t.Errorf("have %v", err)
				}
			}
		})
	}
	t.Run("its index is gone", func(t *testing.T) {
		path := protect(t, func(path string) { left(t, path, "", "-wal") })
		if _, err := Open(t.Context(), path); err == nil || !strings.Contains(err.Error(), "copy both files to a folder of your own") {
			t.Errorf("have %v", err)
		}
	})
	t.Run("an older one", func(t *testing.T) {
		path := protect(t, func(path string) {
			s := openAt(t, path)
			if _, err := s.exec(t.Context(), "DELETE FROM goose_db_version WHERE version_id = 7"); err != nil {
				t.Fatal(err)
			}
			s.Close()
		})
		if _, err := Open(t.Context(), path); err == nil || !strings.Contains(err.Error(), "an older freshet wrote this database") {
			t.Errorf("have %v", err)
		}
	})
}

// On a protected disk there is no making a database where there is none.
func TestReadOnlyDiskWithoutDatabase(t *testing.T) {
	path := protect(t, func(string) {})
	if _, err := Open(t.Context(), path); !errors.Is(err, readOnlyDisk) {
		t.Errorf("have %v", err)
	}
}
