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

// lock is the right to write a database. The kernel gives it back when the process ends, however it ends. The file
// stays: removing it would let two processes each lock a file of that name.
type lock struct {
	f    *os.File
	held bool // a database of ours was opened under this name before

	itself *os.File // the database, locked too: by another name it is the same file. nil: it is not there yet
}

// heldLine is the second line of the lock's file once the database beside it was opened as ours.
const heldLine = "a record was kept here"

func takeLock(path string) (*lock, error) {
	name := path + ".lock"
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
			return nil, fmt.Errorf("store %s: %w: %w; give the user it runs as the right to write that directory", path,
				ErrReadOnly, err)
		}
		return nil, fmt.Errorf("store %s: lock it: %w", path, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("store %s: %w by pid %s; stop that process, or give this one a store of its own",
				path, ErrBusy, holder(f))
		}
		return nil, fmt.Errorf("store %s: lock %s: %w", path, name, err)
	}
	l := &lock{f: f}
	if err := l.lockItself(path); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	text, _ := io.ReadAll(io.LimitReader(f, 256))
	_, rest, _ := strings.Cut(string(text), "\n")
	l.held = strings.TrimSpace(rest) == heldLine
	l.write()
	return l, nil
}

// lockItself locks the file and not a name of it: a symbolic or a hard link leads to the same device and inode. SQLite
// locks by byte ranges, which are of another kind; the descriptor is closed only when SQLite has closed its own, or its
// locks would go.
func (l *lock) lockItself(path string) error {
	if l.itself != nil {
		return nil
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil // it is not there yet, or opening it says what is wrong better
	}
	switch err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); {
	case errors.Is(err, syscall.EWOULDBLOCK):
		return errors.Join(fmt.Errorf(
			"store %s: %w by another process, under another name of the same file; stop that process, or give this one a store of its own",
			path, ErrBusy), f.Close())
	case err != nil: // a file system without such locks: the name's lock is what there is
		return f.Close()
	}
	l.itself = f
	return nil
}

// write says who holds the lock. It is for people; a disk too full for it does not take the lock away.
func (l *lock) write() {
	text := fmt.Sprintf("%d\n", os.Getpid())
	if l.held {
		text += heldLine + "\n"
	}
	if _, err := l.f.WriteAt([]byte(text), 0); err == nil {
		_ = l.f.Truncate(int64(len(text)))
	}
}

// mark notes that the database is ours.
func (l *lock) mark() {
	if !l.held {
		l.held = true
		l.write()
	}
}

func holder(f *os.File) string {
	text, _ := io.ReadAll(io.LimitReader(f, 32))
	pid, _, _ := strings.Cut(string(text), "\n")
	if pid = strings.TrimSpace(pid); pid != "" {
		return pid
	}
	return "unknown"
}

func (l *lock) release() error {
	if l == nil {
		return nil
	}
	var err error
	if l.itself != nil {
		err = l.itself.Close()
	}
	return errors.Join(err, l.f.Close())
}
