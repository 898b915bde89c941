//go:build unix

package store

import (
	"errors"
	"os"
	"syscall"
)

// readOnlyDisk is the error of a write to a write-protected disk.
const readOnlyDisk = syscall.EROFS

// lockFile locks a file for this process alone, until it is closed. It is
// false if another process holds it. The system lets go of it when a process
// dies, however it dies.
func lockFile(path string) (*os.File, bool, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, false, err
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil {
		return f, true, nil
	}
	f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) {
		err = nil
	}
	return nil, false, err
}

// syncDir makes a rename within dir last.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
