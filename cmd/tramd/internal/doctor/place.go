package doctor

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
)

func itoa(n int) string { return strconv.Itoa(n) }

// File systems that forget (statfs(2), linux/magic.h).
var fleeting = map[int64]string{0x01021994: "tmpfs", 0x858458f6: "ramfs", 0x794c7630: "overlay"}

// Room for the record: a year of hourly checks with their readings stays under a gigabyte.
const (
	littleRoom = 1 << 30
	noRoom     = 64 << 20
)

// place looks at where the record is kept.
func (e *examination) place(dir string) {
	path := e.m.at(dir)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		e.wrong("disk", "make it, owned by the user the daemon runs as (the package does at its first start)",
			"there is no folder %s", dir)
		return
	}
	st, err := e.m.Statfs(path)
	if err != nil {
		e.add("disk", Unknown, "run it as the daemon's user, or by sudo", "%s cannot be looked at: %v", dir, err)
		return
	}
	free := int64(st.Bavail) * int64(st.Bsize)
	// Some magic numbers do not fit the signed word they come in on 32-bit machines.
	name, forgets := fleeting[int64(uint32(st.Type))]
	switch {
	case forgets:
		e.wrong(
			"disk",
			"write a store.path on a disk or card that is written through; with a read-only system, on a partition of its own", "%s is on %s: everything in it is lost at the next reboot", dir, name)
	case st.Flags&unix.ST_RDONLY != 0:
		e.wrong(
			"disk", "see `dmesg` for why (a worn card turns read-only), then sudo mount -o remount,rw or another card",
			"%s is on a read-only file system", dir)
	case free < noRoom:
		e.wrong("disk", "delete what is not needed, or move store.path to a larger disk", "%d MB are left for %s",
			free>>20, dir)
	case free < littleRoom:
		e.warn("disk", "delete what is not needed, or move store.path to a larger disk", "%d MB are left for %s",
			free>>20, dir)
	default:
		e.ok("disk", "%d MB are left for %s", free>>20, dir)
	}
}

// record has the database looked through, beside a daemon that may be writing it.
func (e *examination) record(ctx context.Context, cfg *config.Config) {
	path := e.m.at(cfg.Store.Path)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		e.ok("record", "there is none yet; the daemon makes it at its first start")
		return
	}
	s, err := store.OpenReadOnly(ctx, path, store.Options{})
	if err != nil {
		e.wrong("record", "", "%v", err)
		return
	}
	defer s.Close()
	ctx, cancel := context.WithTimeout(ctx, e.m.Patience)
	defer cancel()
	switch err := s.Check(ctx); {
	case err == nil:
		e.ok("record", "%s is whole", cfg.Store.Path)
	case ctx.Err() != nil:
		e.add("record", Unknown, "look again when the machine is less busy", "%s could not be looked through in %v",
			cfg.Store.Path, e.m.Patience)
	default:
		e.wrong("record", "restart the daemon: it sets the damaged file aside and saves what can be read", "%v", err)
	}
}

// daemon asks the running daemon how it is; nil when none answers.
func (e *examination) daemon(ctx context.Context, cfg *config.Config) *api.Snapshot {
	snap, err := e.m.Daemon(ctx, e.m.at(cfg.Control.Socket))
	switch {
	case err != nil && (errors.Is(err, client.ErrNoDaemon) && !errors.Is(err, fs.ErrPermission)):
		e.warn("daemon", "sudo systemctl start tramd@"+cfg.Machine.Name+", or tramd run --config FILE",
			"no daemon answers at %s", cfg.Control.Socket)
		return nil
	case err != nil:
		e.add("daemon", Unknown, "see `journalctl -u tramd@"+cfg.Machine.Name+
			"`; without the right to its socket, ask by sudo", "the daemon cannot be asked: %v", err)
		return nil
	case !snap.Store.OK:
		e.wrong("daemon", "", "the daemon cannot store: %s", snap.Store.Error)
	default:
		e.ok("daemon", "the daemon answers; sweep %s", snap.Sweep.Phase)
	}
	if !snap.Clock.Set && e.m.ClockSet() {
		e.warn("daemon clock", "sudo systemctl restart tramd@"+cfg.Machine.Name+
			"; if it says so again, let chronyd answer on this computer (no cmdport 0), or write [clock] trusted = true",
			"the clock is set, but the daemon cannot see it: its checks are not dated")
	}
	for _, d := range snap.Devices {
		if d.Error != "" {
			e.wrong("device "+d.Name, "", "%s: %s", d.State, d.Error)
		}
	}
	return snap
}

// clock looks whether the time of day can be believed; cfg may be nil.
func (e *examination) clock(cfg *config.Config) {
	switch {
	case e.m.ClockSet():
		e.ok("clock", "the clock has been set since boot: %s", e.m.Now().Format("2006-01-02 15:04 MST"))
		return
	case cfg != nil && cfg.Clock.Trusted:
		e.ok("clock", "nothing has set the clock since boot; [clock] trusted = true takes it as it is: %s",
			e.m.Now().Format("2006-01-02 15:04 MST"))
		return
	}
	e.warn(
		"clock",
		"sudo timedatectl set-ntp true, with a network; without one, set it by hand (sudo timedatectl set-time) and write [clock] trusted = true",
		"nothing has set the clock since boot: runs are dated wrong until it is")
}

// throttled is where the firmware of the common small computers says that its supply was too weak. Bit 0: now, bit 16:
// since boot (the maker's documentation of get_throttled; from memory).
const throttled = "/sys/devices/platform/soc/soc:firmware/get_throttled"

func (e *examination) power() {
	text, err := os.ReadFile(e.m.at(throttled))
	if err != nil {
		return // another kind of computer
	}
	bits, err := strconv.ParseUint(strings.TrimPrefix(strings.TrimSpace(string(text)), "0x"), 16, 64)
	const cure = "use the supply made for this computer and a short thick cable; put hungry USB devices on a hub with a supply of its own"
	switch {
	case err != nil:
		e.add("power", Unknown, "", "the firmware says %q of its supply", strings.TrimSpace(string(text)))
	case bits&1 != 0:
		e.wrong("power", cure, "the supply is too weak right now: USB adapters may drop out")
	case bits&(1<<16) != 0:
		e.warn("power", cure, "the supply has been too weak since boot: USB adapters may drop out")
	default:
		e.ok("power", "the supply has held since boot")
	}
}
