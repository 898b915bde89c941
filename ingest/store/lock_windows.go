package store

import (
	"errors"
	"os"
	"syscall"
)

const sharingViolation = syscall.Errno(32) // ERROR_SHARING_VIOLATION

// readOnlyDisk is the error of a write to a write-protected disk.
const readOnlyDisk = syscall.Errno(19) // ERROR_WRITE_PROTECT

// lockFile opens a file that nobody else may open until it is closed. It is
// false if another process holds it.
func lockFile(path string) (*os.File, bool, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, false, err
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, 0, nil, syscall.OPEN_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if errors.Is(err, sharingViolation) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	return os.NewFile(uintptr(h), path), true, nil
}

// syncDir has nothing to do: Windows keeps a rename with the file.
func syncDir(string) error { return nil }
