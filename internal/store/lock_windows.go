package store

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock takes the exclusive lock of a file and returns false if another
// process has it.
func tryLock(f *os.File) (bool, error) {
	// A locked range cannot be read by others, so it lies far behind the text.
	far := windows.Overlapped{OffsetHigh: 1}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &far)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}

// syncFolder does nothing: a folder cannot be flushed here, and NTFS keeps a
// journal of its names.
func syncFolder(string) error { return nil }
