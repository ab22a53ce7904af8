package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"syscall"
)

// lock is the right to write a database. The kernel gives it back when the process ends, however it ends. The file stays:
// removing it would let two processes each lock a file of that name.
type lock struct{ f *os.File }

func takeLock(path string) (*lock, error) {
	name := path + ".lock"
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
			return nil, fmt.Errorf("store %s: %w: %w; give the user it runs as the right to write that directory", path, ErrReadOnly, err)
		}
		return nil, fmt.Errorf("store %s: lock it: %w", path, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("store %s: %w by pid %s; stop that process, or give this one a store of its own", path, ErrBusy, holder(f))
		}
		return nil, fmt.Errorf("store %s: lock %s: %w", path, name, err)
	}
	// The number is for people; a disk too full to write it does not take the lock away.
	if err := f.Truncate(0); err == nil {
		_, _ = f.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	}
	return &lock{f}, nil
}

func holder(f *os.File) string {
	text, _ := io.ReadAll(io.LimitReader(f, 32))
	if pid := strings.TrimSpace(string(text)); pid != "" {
		return pid
	}
	return "unknown"
}

func (l *lock) release() error {
	if l == nil {
		return nil
	}
	return l.f.Close()
}
