package doctor

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
)

// oldBackup is the age from which a backup that is due every day is late: one night may be missed.
const oldBackup = 48 * time.Hour

// backups looks whether the record is copied, where to, and how old the newest copy is.
func (e *examination) backups(cfg *config.Config) {
	b := cfg.Backup
	if b.To == "" {
		e.warn("backup", "write [backup] to = \"/mnt/stick/tramd\", a folder on another disk",
			"the record is copied nowhere: it is lost with its card or disk")
		return
	}
	at, count, err := store.Latest(e.m.at(b.To), cfg.Machine.Name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.wrong("backup", "mount that disk (is it plugged in?), or make the folder", "there is no folder %s", b.To)
		return
	case err != nil:
		e.add("backup", Unknown, "run it as the daemon's user, or by sudo", "%s cannot be looked at: %v", b.To, err)
		return
	}
	folder, errFolder := e.m.Device(e.m.at(b.To))
	record, errRecord := e.m.Device(e.m.at(filepath.Dir(cfg.Store.Path)))
	same := errFolder == nil && errRecord == nil && folder == record
	if same && !b.SameDisk {
		e.wrong("backup", "mount another disk there (is it plugged in?), or write same_disk = true",
			"%s lies on the disk that the record is on: no backup is made there", b.To)
		return
	}
	const cure = "see why: tramd backup --config FILE"
	switch age := e.m.Now().Sub(at); {
	case count == 0:
		e.warn("backup", cure, "there is no backup in %s yet", b.To)
	case age > oldBackup:
		e.wrong("backup", cure, "the newest of %d in %s is %.0f days old", count, b.To, age.Hours()/24)
	case age < -oldBackup:
		e.warn("backup", "see that the clock is right", "the newest of %d in %s is from the future, %s", count, b.To,
			at.Format(time.DateOnly))
	case same:
		e.warn("backup", "copy them to another disk now and then",
			"the newest of %d in %s is %.0f hours old, but lies on the record's own disk", count, b.To, age.Hours())
	default:
		e.ok("backup", "the newest of %d in %s is %.0f hours old", count, b.To, max(age.Hours(), 0))
	}
}

// deviceOf returns the disk that a file is on.
func deviceOf(path string) (uint64, error) {
	var st unix.Stat_t
	if err := unix.Stat(path, &st); err != nil {
		return 0, &os.PathError{Op: "stat", Path: path, Err: err}
	}
	return uint64(st.Dev), nil
}
