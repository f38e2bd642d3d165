package store

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// lock is the hold of this process on a folder. It ends with the process,
// however that ends.
type lock struct{ file *os.File }

// lockFolder takes hold of dir, or fails with ErrInUse naming the process that
// holds it.
func lockFolder(dir string) (*lock, error) {
	path := filepath.Join(dir, lockName)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("the folder cannot be locked; look at its permissions: %w", err)
	}
	free, err := tryLock(f)
	if err == nil && free {
		if err = writePID(f); err == nil {
			return &lock{f}, nil
		}
	}
	defer f.Close()
	if err != nil {
		return nil, fmt.Errorf("%s cannot be locked; the folder must lie on a local disk: %w", path, err)
	}
	holder := "another process"
	if text, err := io.ReadAll(io.LimitReader(f, 20)); err == nil {
		if pid, err := strconv.Atoi(strings.TrimSpace(string(text))); err == nil {
			holder = "process " + strconv.Itoa(pid)
		}
	}
	return nil, fmt.Errorf("%w: %s is held by %s; stop that program, or choose another folder", ErrInUse, dir, holder)
}

// writePID writes who holds the folder, for the refusal that others get.
func writePID(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

// release lets go of the folder. The file stays: removing it would let two
// processes lock two files of the same name.
func (l *lock) release() error {
	if l == nil || l.file == nil {
		return nil
	}
	f := l.file
	l.file = nil
	return f.Close()
}
