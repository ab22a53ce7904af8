package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	"github.com/mattn/go-sqlite3"
	"golang.org/x/sys/unix"
)

// OpenOrWait opens the database as Open does. Where the disk has no room for that, it gives a store that has the lock,
// where that could be had, and meets every write with ErrFull: see Waiting. What was stored before can be read where
// its schema is today's; else reading, too, meets ErrFull. The program can then do all that needs no new record.
func OpenOrWait(ctx context.Context, path string, o Options) (*Store, error) {
	s, err := Open(ctx, path, o)
	if !errors.Is(err, ErrFull) {
		return s, err
	}
	s = o.store(path)
	s.waiting = &waiting{o: o, why: err}
	if lock, err := takeLock(path); err == nil {
		s.lock = lock
	} else if !isFull(err) { // another program has it
		return nil, err
	}
	s.w = sql.OpenDB(s.waiting)
	if !s.readWaiting(ctx, o) {
		s.r = sql.OpenDB(s.waiting)
	}
	return s, nil
}

// readWaiting opens what is there for reading, and says whether it could. The connections share one cache and hold the
// file for themselves: SQLite then needs no shared memory beside the file, for which there is no room. Each lets go of
// it as soon as it is idle, so that Roomy can try.
func (s *Store) readWaiting(ctx context.Context, o Options) bool {
	st, err := os.Stat(s.path)
	if err != nil || st.Size() == 0 || s.lock == nil || whyDamaged(s.path) != nil {
		return false
	}
	known, err := o.steps()
	if err != nil {
		return false
	}
	s.r = openAlone(s.path, o.wait())
	version, err := schemaVersion(ctx, s.r, s.path, len(known))
	if err == nil && version == len(known) {
		if s.sound, err = soundness(ctx, s.r); err == nil {
			return true
		}
	}
	_ = s.r.Close()
	return false
}

// waiting stands in for the connections of a store that could not be opened for lack of room.
type waiting struct {
	o   Options
	why error
}

func (w *waiting) Connect(context.Context) (driver.Conn, error) { return nil, w.why }
func (w *waiting) Driver() driver.Driver                        { return &sqlite3.SQLiteDriver{} }

// Waiting says why the store is not open; nil where it is. It never opens by itself: once Roomy says so, close it and
// open it again.
func (s *Store) Waiting() error {
	if s.waiting == nil {
		return nil
	}
	return s.waiting.why
}

// Roomy says whether a store that waits can be opened now, or fails to open for a reason other than the room. It tries.
func (s *Store) Roomy(ctx context.Context) bool {
	if s.waiting == nil {
		return true
	}
	if free, err := s.Free(); err == nil && free < roomToOpen {
		return false
	}
	try := s.waiting.o.store(s.path)
	try.lock = s.lock
	if try.lock == nil {
		lock, err := takeLock(s.path)
		if isFull(err) {
			return false
		}
		if err != nil {
			return true
		}
		s.lock, try.lock = lock, lock
	}
	err := try.open(ctx, s.waiting.o)
	try.lock = nil // it stays with the store that waits
	_ = try.Close()
	return !isFull(err)
}

// roomToOpen is what opening takes, with something to write a sweep into: less is no end of the trouble.
const roomToOpen = 512 << 10

// isFull reports whether a disk, or what of it this user may use, is full.
func isFull(err error) bool {
	var se sqlite3.Error
	if errors.As(err, &se) && se.Code == sqlite3.ErrFull {
		return true
	}
	return errors.Is(err, ErrFull) || errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

// wasFull tells of an opening that failed because there was no room. SQLite has other words for that where it makes the
// files beside the database, and does not keep the system's reason.
func wasFull(path string, err error) error {
	if err == nil || errors.Is(err, ErrFull) {
		return err
	}
	var se sqlite3.Error
	vague := errors.As(err, &se) && (se.Code == sqlite3.ErrIoErr || se.Code == sqlite3.ErrCantOpen)
	if !isFull(err) && !(vague && noRoom(filepath.Dir(path))) {
		return err
	}
	return fmt.Errorf(
		"store %s cannot be opened: %w; what was stored before is safe: free some space on that disk, and storing begins by itself (%w)",
		path, ErrFull, err)
}

// noRoom reports whether a file could not grow by a few pages, or none could be made.
func noRoom(dir string) bool {
	var st unix.Statfs_t
	if unix.Statfs(dir, &st) != nil {
		return false
	}
	return st.Bavail*uint64(st.Bsize) < 128<<10 || st.Files > 0 && st.Ffree == 0
}
