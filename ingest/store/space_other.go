//go:build !linux && !darwin && !freebsd && !windows

package store

// freeBytes doesn't know here.
func freeBytes(string) (n uint64, known bool) { return 0, false }
