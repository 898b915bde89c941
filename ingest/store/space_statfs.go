//go:build linux || darwin || freebsd

package store

import "syscall"

// freeBytes gives what a user may still write on the disk that holds a folder.
func freeBytes(folder string) (n uint64, known bool) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(folder, &s); err != nil {
		return 0, false
	}
	return uint64(max(0, int64(s.Bavail))) * uint64(s.Bsize), true
}
