package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// ErrServed is the error of a database that another process serves.
var ErrServed = errors.New("store: it is being served by another freshet: end that one first")

// Lock makes this process the only one to serve, or to restore, the database
// at path, until the lock is closed or the process ends. If another one is, it
// is ErrServed. Commands that ask or import don't need it: SQLite keeps them
// apart. A group's shop may be served by many: there is nothing to lock.
func Lock(path string) (io.Closer, error) {
	if Shared(path) {
		return io.NopCloser(nil), nil
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, wrap(err)
	}
	f, ok, err := lockFile(path + ".lock")
	if err != nil {
		return nil, wrap(err)
	}
	if !ok {
		return nil, fmt.Errorf("store: %s: %w", path, ErrServed)
	}
	return f, nil
}

// lockServed is [Lock] of a database that was served at some time; another needs
// none, and its folder gets no file for it.
func lockServed(path string) (io.Closer, error) {
	if _, err := os.Stat(path + ".lock"); errors.Is(err, fs.ErrNotExist) {
		return io.NopCloser(nil), nil
	}
	return Lock(path)
}
