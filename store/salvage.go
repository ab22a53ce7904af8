package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

const asideStamp = "20060102T150405.000000Z"

// Saved is what became of a damaged database.
type Saved struct {
	Aside string         // the damaged file, as it was; its write-ahead log has the same name and -wal
	Why   string         // what was found
	Rows  map[string]int // rows saved, by table
	Lost  int            // rows, or stretches of rows, that could not be read or were of no use

	resumed bool // the rows were saved before a power cut
}

// String says it to a person.
func (s Saved) String() string {
	lost := "nothing that could be seen is lost"
	switch {
	case s.resumed:
		return "the damaged database was kept as " + s.Aside + "; what could be read of it was saved."
	case s.Lost > 0:
		lost = fmt.Sprintf("at %d places it could not be read", s.Lost)
	case len(s.Rows) == 0:
		lost = "nothing in it could be read"
	}
	return fmt.Sprintf(
		"the damaged database was kept as %s; saved from it: %d runs, %d results, %d chunks of readings, %d events; %s. A backup may hold more: see tramd restore.",
		s.Aside, s.Rows["run"], s.Rows["result"], s.Rows["chunk"], s.Rows["event"], lost)
}

// Salvage sets a damaged database aside and puts in its place a new one with everything that can still be read. It may
// be cut short at any instant and begun again: until the new file stands, the old one does.
func Salvage(ctx context.Context, path string, o Options) (Saved, error) {
	lock, err := takeLock(path)
	if err != nil {
		return Saved{}, err
	}
	defer lock.release()
	stamp, why, noted := damageNoted(path)
	if !noted {
		if err := MarkDamaged(path, errors.New("damaged")); err != nil {
			return Saved{}, err
		}
		stamp, why, _ = damageNoted(path)
	}
	out := Saved{Why: why, Aside: path + ".damaged-" + stamp}
	ready := path + ".saved"
	if _, err := os.Stat(ready); errors.Is(err, fs.ErrNotExist) {
		if err := out.rescue(ctx, path, ready, o); err != nil {
			return Saved{}, fmt.Errorf("save what can be read of the damaged %s (it was left as it is): %w", path, err)
		}
	} else {
		out.resumed = true
	}
	if err := swap(path, out.Aside, ready); err != nil {
		return Saved{}, fmt.Errorf("set the damaged %s aside: %w", path, err)
	}
	return out, nil
}

// rescue writes what can be read into a new file and gives it its name once it is whole and on the disk.
func (out *Saved) rescue(ctx context.Context, path, ready string, o Options) error {
	part, work := ready+".part", path+workSuffix
	clear := func() error {
		for _, name := range []string{part, part + "-wal", part + "-shm", part + "-journal", part + ".lock", work,
			work + "-wal", work + "-shm"} {
			if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
		return nil
	}
	if err := clear(); err != nil {
		return err
	}
	to, err := Open(ctx, part, o)
	if err != nil {
		return err
	}
	err = out.saveFrom(ctx, path, to)
	if err := errors.Join(err, to.Close()); err != nil {
		return errors.Join(err, clear())
	}
	if err := checkFile(ctx, part); err != nil {
		return err
	}
	if err := syncFile(part); err != nil {
		return err
	}
	if err := os.Rename(part, ready); err != nil {
		return err
	}
	return errors.Join(clear(), syncDir(ready))
}

// workSuffix is of the copy that is worked on: the damaged file itself is never written to.
const workSuffix = ".saved.work"

// saveFrom saves what can be read of a damaged file: by SQLite, from a copy whose header and length are mended, and
// what SQLite does not find from the pages themselves.
func (out *Saved) saveFrom(ctx context.Context, path string, to *Store) error {
	out.Rows = map[string]int{}
	work, page, err := workOn(ctx, path)
	if err != nil { // no room for a copy, say: as it is
		to.log.Warn("cannot mend a copy of the damaged file; reading it as it is", "error", err)
		work, page = path, 0
	}
	if err := out.copyFrom(ctx, work, to); err != nil {
		return err
	}
	if page > 0 {
		if _, err := out.scan(ctx, work, page, to); err != nil {
			return err
		}
	}
	return adopt(ctx, to, out)
}

// workOn makes the copy, with the write-ahead log folded in as far as it can be.
func workOn(ctx context.Context, path string) (work string, page int, err error) {
	work = path + workSuffix
	if err := copyFile(path, work); err != nil {
		return "", 0, err
	}
	if _, err := os.Stat(path + "-wal"); err == nil {
		if err := copyFile(path+"-wal", work+"-wal"); err != nil {
			return "", 0, err
		}
	}
	steps, err := steps(migrationFiles)
	if err != nil {
		return "", 0, err
	}
	if _, err := mendHeader(work, len(steps)); err != nil {
		return "", 0, err
	}
	db := openWriter(work, busyTimeout)
	_, _ = db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)") // where the log is spoiled, the file is what there is
	if err := db.Close(); err != nil {
		return "", 0, err
	}
	page, err = mendHeader(work, len(steps)) // the log may have had another
	return work, page, err
}

// swap keeps the damaged file and its log under other names, then puts the new one in place. In this order a power cut
// in between never leaves the new file beside the old one's log, which would be played into it.
func swap(path, aside, ready string) error {
	for _, suffix := range []string{"", "-wal"} {
		if err := keepAs(path+suffix, aside+suffix); err != nil {
			return err
		}
	}
	if err := syncDir(path); err != nil {
		return err
	}
	for _, suffix := range []string{"-wal", "-shm"} {
		if err := os.Remove(path + suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	if err := syncDir(path); err != nil {
		return err
	}
	if err := os.Rename(ready, path); err != nil {
		return err
	}
	if err := syncDir(path); err != nil {
		return err
	}
	if err := os.Remove(markName(path)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return syncDir(path)
}

// keepAs gives a file a second name; where the file system knows no second names, it copies it.
func keepAs(name, as string) error {
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	err := os.Link(name, as)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return nil
	}
	return copyFile(name, as)
}

// whyDamaged is the refusal of a file that was found damaged at an earlier start.
func whyDamaged(path string) error {
	_, why, found := damageNoted(path)
	if !found {
		return nil
	}
	return fmt.Errorf(
		"store %s: %w: %s; start the daemon, which keeps that file aside and saves what can be read of it", path,
		ErrDamaged,
		strings.ReplaceAll(why, "\n", "; "))
}
