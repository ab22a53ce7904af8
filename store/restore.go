package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"
)

// Restore puts a backup in the place of the record. No program may write the record meanwhile. The backup is looked
// through first and is left as it is; the record it replaces is kept under another name (its log under the same name
// and -wal). It may be cut short at any instant: then the next start of the daemon, or Restore again, brings it to an
// end.
func Restore(ctx context.Context, path, backup string) (replaced string, err error) {
	doing := fmt.Sprintf("restore %s from %s", path, backup)
	if st, err := os.Stat(backup + "-wal"); err == nil && st.Size() > 0 {
		return "",
			fmt.Errorf(
				"%s: nothing was changed: it has a write-ahead log beside it, so it is a record in use and no backup; give a file made by tramd backup", doing)
	}
	err = verify(ctx, backup)
	if err == nil {
		err = judgeBackup(ctx, backup)
	}
	if err != nil {
		return "", fmt.Errorf("%s: nothing was changed: %w", doing, err)
	}
	lock, err := takeLock(path)
	if err != nil {
		return "", fmt.Errorf("%s: nothing was changed: %w", doing, err)
	}
	defer lock.release()
	if there, err := os.Stat(path); err == nil {
		if given, err := os.Stat(backup); err == nil && os.SameFile(there, given) {
			return "", fmt.Errorf("%s: that is the record itself; give a backup", doing)
		}
	}
	// From here on what stands in the place is not to be taken for the record until all is done: the note says so.
	if err := MarkDamaged(path, errors.New("it was being replaced by the backup "+backup)); err != nil {
		return "", fmt.Errorf("%s: %w", doing, err)
	}
	ready := path + ".saved"
	if err := copyFile(backup, ready); err != nil {
		return "", errors.Join(fmt.Errorf("%s: the record stays as it was: %w", doing, err), os.Remove(markName(path)))
	}
	aside := path + ".replaced-" + time.Now().UTC().Format(asideStamp)
	if err := swap(path, aside, ready); err != nil {
		return "", fmt.Errorf("%s: %w", doing, err)
	}
	lock.mark()
	if _, err := os.Stat(aside); err == nil { // there was a record
		replaced = aside
	}
	return replaced, nil
}

// judgeBackup refuses a file whose tables, indexes and triggers are not those that the migrations make: a trigger may
// delete what is stored, and a table that is missing shows only when it is needed.
func judgeBackup(ctx context.Context, path string) error {
	steps, err := steps(migrationFiles)
	if err != nil {
		return err
	}
	db := openReaders(path, busyTimeout)
	defer db.Close()
	version, err := schemaVersion(ctx, db, path, len(steps))
	if err != nil {
		return err
	}
	odd, err := judgeSchema(ctx, db, steps, version)
	if err == nil && odd != "" {
		err = fmt.Errorf("%s: %w: %s; it was changed by hand or by another program: give another backup", path,
			ErrNotDatabase, odd)
	}
	return err
}

// copyFile copies a file whole and on the disk, or not at all.
func copyFile(from, to string) error {
	part := to + ".part"
	defer os.Remove(part) // there only if something failed
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o640)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	if err := errors.Join(err, out.Sync(), out.Close()); err != nil {
		return err
	}
	if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	return syncDir(to)
}
