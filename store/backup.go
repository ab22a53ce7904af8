package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"syscall"
	"time"
)

// BackupOptions say how a backup is made into a folder.
type BackupOptions struct {
	Name     string // the files' names begin with it; the machine's
	Keep     int    // how many are kept; 0: all
	SameDisk bool   // the folder may lie on the disk the record is on
}

// Backup copies the record into a folder while others write it, and checks the copy before it gets its name:
// NAME-000012-20260302T023000Z.db. They are numbered, because the time of day may be wrong; those of the lowest numbers
// go once there are more than o.Keep. It gives the new file and what was removed.
//
// Runs that had ended when it began are in it. While it copies, the write-ahead log cannot be emptied, so that it
// grows.
func (s *Store) Backup(ctx context.Context, folder string, o BackupOptions) (file string, gone []string, err error) {
	doing := fmt.Sprintf("back up into %s", folder)
	if err := s.fitFolder(folder, o); err != nil {
		return "", nil, fmt.Errorf("%s: %w", doing, err)
	}
	old, err := backups(folder, o.Name)
	if err != nil {
		return "", nil, fmt.Errorf("%s: %w", doing, err)
	}
	left, err := filepath.Glob(filepath.Join(folder, o.Name+"-*.db.part")) // of backups that were cut short
	if err != nil {
		return "", nil, fmt.Errorf("%s: %w", doing, err)
	}
	for _, part := range left {
		if err := os.Remove(part); err != nil {
			return "", nil, fmt.Errorf("%s: %w", doing, err)
		}
	}
	next := 1
	if len(old) > 0 {
		next = old[len(old)-1].number + 1
	}
	file = filepath.Join(folder, fmt.Sprintf("%s-%06d-%s.db", o.Name, next,
		time.Now().UTC().Format("20060102T150405Z")))
	if err := s.BackupFile(ctx, file); err != nil {
		return "", nil, err
	}
	if o.Keep > 0 {
		old = append(old, numbered{next, file})
		for _, b := range old[:max(len(old)-o.Keep, 0)] {
			if err := os.Remove(b.file); err != nil {
				return file, gone, fmt.Errorf("%s: it was made, but an old one cannot be removed: %w", doing, err)
			}
			gone = append(gone, b.file)
		}
	}
	return file, gone, nil
}

// BackupFile copies the record into one file that is not there yet, and checks the copy before it gets its name.
func (s *Store) BackupFile(ctx context.Context, file string) error {
	doing := "back up to " + file
	if _, err := os.Lstat(file); err == nil {
		return fmt.Errorf("%s: there is a file of that name; move it, or give another name", doing)
	}
	part := file + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) { // of a backup that was cut short
		return fmt.Errorf("%s: %w", doing, err)
	}
	defer os.Remove(part) // there only if something failed
	if err := makePrivate(part); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	// By a connection of its own: neither the writer nor the readers wait for it.
	db := openCopier(s.path)
	defer db.Close()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		if ctx.Err() != nil {
			return fmt.Errorf("%s: %w", doing, ctx.Err())
		}
		return fault(part, doing, err)
	}
	if err := verify(ctx, part); err != nil {
		return fmt.Errorf("%s: the copy is not good: %w", doing, err)
	}
	if err := syncFile(part); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	if err := os.Rename(part, file); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	return syncDir(file)
}

// makePrivate makes an empty file with the record's mode, whatever the umask: so it is never more open while it is
// written.
func makePrivate(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(f.Chmod(0o640), f.Close())
}

// Latest says when the newest backup of that name in a folder was made, and how many there are. With none the time is
// zero.
func Latest(folder, name string) (at time.Time, count int, err error) {
	list, err := backups(folder, name)
	if err != nil || len(list) == 0 {
		return time.Time{}, 0, err
	}
	st, err := os.Stat(list[len(list)-1].file)
	if err != nil {
		return time.Time{}, 0, err
	}
	return st.ModTime(), len(list), nil
}

// verify looks through a whole file and makes sure that it is ours and that this version can read it.
func verify(ctx context.Context, path string) error {
	if err := probe(path, os.O_RDONLY); err != nil {
		return err
	}
	if err := checkFile(ctx, path); err != nil {
		return err
	}
	steps, err := steps(migrationFiles)
	if err != nil {
		return err
	}
	db := openReaders(path, busyTimeout)
	defer db.Close()
	version, err := schemaVersion(ctx, db, path, len(steps))
	if err == nil && version == 0 {
		err = fmt.Errorf("%s: %w: it is empty", path, ErrNotDatabase)
	}
	return err
}

// fitFolder refuses a folder that is not there or that would go down with the record.
func (s *Store) fitFolder(folder string, o BackupOptions) error {
	st, err := os.Stat(folder)
	if err != nil {
		return fmt.Errorf("%w; mount that disk or make the folder", err)
	}
	if !st.IsDir() {
		return errors.New("it is not a folder; give one on another disk")
	}
	own, err := os.Stat(filepath.Dir(s.path))
	if err != nil {
		return err
	}
	a, okA := st.Sys().(*syscall.Stat_t)
	b, okB := own.Sys().(*syscall.Stat_t)
	if okA && okB && a.Dev == b.Dev && !o.SameDisk {
		return errors.New(
			"it lies on the disk that the record is on, and would be lost with it; mount another disk there (is it plugged in?), or say same_disk = true (--same-disk)")
	}
	return nil
}

type numbered struct {
	number int
	file   string
}

// backups returns those there are of one machine, by number.
func backups(folder, name string) ([]numbered, error) {
	form := regexp.MustCompile(`^` + regexp.QuoteMeta(name) + `-(\d{6,9})-\d{8}T\d{6}Z\.db$`)
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var out []numbered
	for _, e := range entries {
		if m := form.FindStringSubmatch(e.Name()); m != nil && e.Type().IsRegular() {
			n, err := strconv.Atoi(m[1])
			if err != nil {
				continue
			}
			out = append(out, numbered{n, filepath.Join(folder, e.Name())})
		}
	}
	slices.SortFunc(out, func(a, b numbered) int { return a.number - b.number })
	return out, nil
}
