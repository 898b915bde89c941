package store

import "golang.org/x/sys/windows"

// freeBytes gives what a user may still write on the disk that holds a folder.
func freeBytes(folder string) (n uint64, known bool) {
	name, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, false
	}
	err = windows.GetDiskFreeSpaceEx(name, &n, nil, nil)
	return n, err == nil
}
