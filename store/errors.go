package store

import (
	"database/sql"
	"errors"
	"fmt"
	"syscall"

	"github.com/mattn/go-sqlite3"
)

// Errors a caller may want to tell apart with errors.Is. The text around them says what failed and what to do.
var (
	// an event of no known kind, without what its kind needs, or taken back already
	ErrEvent       = errors.New("not done")
	ErrNotFound    = errors.New("not found")
	ErrFull        = errors.New("no room left")
	ErrBusy        = errors.New("in use")
	ErrNewer       = errors.New("written by a newer version")
	ErrEnded       = errors.New("run has already ended")
	ErrReadOnly    = errors.New("cannot be written to")
	ErrNotDatabase = errors.New("not a database of this program")
	ErrDamaged     = errors.New("damaged")
	ErrImported    = errors.New("in the record already")
	ErrGone        = errors.New("readings were let go when they grew old")
)

// errOthers is the refusal of a whole database that another program made.
var errOthers = errors.New("another program's SQLite file")

func isConstraint(err error) bool {
	var se sqlite3.Error
	return errors.As(err, &se) && se.Code == sqlite3.ErrConstraint
}

// isCorrupt reports whether SQLite could not make sense of a page.
func isCorrupt(err error) bool {
	var se sqlite3.Error
	return errors.As(err, &se) && (se.Code == sqlite3.ErrCorrupt || se.Code == sqlite3.ErrNotADB)
}

// fault carries a sentinel for the program, the cure for the person, and SQLite's own words for a search.
func (s *Store) fault(doing string, err error) error { return s.watched(fault(s.path, doing, err)) }

func fault(path, doing string, err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", doing, ErrNotFound)
	}
	var se sqlite3.Error
	if !errors.As(err, &se) {
		return fmt.Errorf("%s: %w", doing, err)
	}
	say := func(kind error, cure string) error {
		return fmt.Errorf("%s: store %s: %w; %s (%s)", doing, path, kind, cure, se.Error())
	}
	switch {
	case se.Code == sqlite3.ErrFull, se.SystemErrno == syscall.ENOSPC, se.SystemErrno == syscall.EDQUOT:
		return say(
			ErrFull,
			"what was stored is safe and can be read: free some space on that disk, and storing goes on by itself")
	case se.Code == sqlite3.ErrBusy, se.Code == sqlite3.ErrLocked:
		return say(ErrBusy, "another program holds it locked: let that one finish or close it, then try again")
	case se.Code == sqlite3.ErrNotADB:
		return say(ErrNotDatabase, "give another path, or move that file away")
	case se.Code == sqlite3.ErrCorrupt:
		return say(
			ErrDamaged,
			"start the daemon, which keeps that file aside and saves what can be read of it, or go back to a backup with tramd restore")
	case se.Code == sqlite3.ErrReadonly, se.Code == sqlite3.ErrPerm, se.Code == sqlite3.ErrAuth,
		se.SystemErrno == syscall.EROFS:
		return say(ErrReadOnly, "give the user it runs as the right to write the file and its directory")
	case se.Code == sqlite3.ErrCantOpen:
		return fmt.Errorf(
			"%s: store %s: check that the directory exists and that its files may be read and written by this user: %w",
			doing, path, err)
	}
	return fmt.Errorf("%s: store %s: %w", doing, path, err)
}
