// Package doctor looks over what tramd needs of a machine before and while it works: the user's rights, udev, the
// ports, the clock, the disk, the record, the daemon, and where alarms are sent. It changes nothing and opens no port.
// Everything outside is reached through [Machine], so that a made-up one can be examined.
package doctor

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/user"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/device/portlist"
)

// Status is how grave a finding is.
type Status string

// Statuses of a finding.
const (
	OK      Status = "ok"
	Unknown Status = "unknown" // could not be seen from here
	Warning Status = "warning" // works, but will bite one day
	Wrong   Status = "wrong"   // does not work
)

// Finding is one thing that was looked at.
type Finding struct {
	Check  string `json:"check"`
	Status Status `json:"status"`
	Text   string `json:"text"`
	Cure   string `json:"cure,omitempty"`
}

// Machine is what is examined.
type Machine struct {
	Root     string // "" = /
	User     string
	UID      int
	Groups   []string // of this process
	ClockSet func() bool
	Now      func() time.Time
	Statfs   func(path string) (unix.Statfs_t, error)
	Device   func(path string) (uint64, error) // the number of the disk it is on
	Access   func(path string) error           // nil: this process may read and write it
	Daemon   func(ctx context.Context, socket string) (*api.Snapshot, error)
	Dial     func(ctx context.Context, network, addr string) (net.Conn, error)
	Patience time.Duration // for the look through the record
}

// This is the machine we run on.
func This() Machine {
	m := Machine{
		UID: os.Geteuid(), ClockSet: clock.IsSet, Now: time.Now, Daemon: askDaemon, Dial: new(net.Dialer).DialContext,
		Patience: time.Minute,
		Statfs:   func(path string) (st unix.Statfs_t, err error) { return st, unix.Statfs(path, &st) },
		Device:   deviceOf,
		Access: func(path string) error {
			return unix.Faccessat(unix.AT_FDCWD, path, unix.R_OK|unix.W_OK, unix.AT_EACCESS)
		},
	}
	if u, err := user.Current(); err == nil {
		m.User = u.Username
	}
	gids, _ := os.Getgroups() // none, where they cannot be had
	for _, gid := range append(gids, os.Getegid()) {
		if g, err := user.LookupGroupId(fmt.Sprint(gid)); err == nil {
			m.Groups = append(m.Groups, g.Name)
		}
	}
	return m
}

func askDaemon(ctx context.Context, socket string) (*api.Snapshot, error) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	c := client.New(socket)
	defer c.Close()
	var snap *api.Snapshot
	err := c.Live(ctx, func(s *api.Snapshot) bool { snap = s; return false })
	return snap, err
}

func (m Machine) at(path string) string { return filepath.Join(m.Root, path) }

// Examine looks at everything. file is the configuration; without one only the machine is looked at.
func Examine(ctx context.Context, m Machine, file string) []Finding {
	e := &examination{m: m}
	ports, err := portlist.List(portlist.Roots{Sys: m.at("/sys"), Dev: m.at("/dev"), Proc: m.at("/proc")})
	if err != nil {
		e.wrong("ports", "see that /sys is mounted", "%v", err)
	}
	e.rights()
	e.udev(ports)
	e.rivals()
	e.power()
	if file == "" {
		e.clock(nil)
		e.add("config", Unknown, "name the configuration: tramd doctor --config FILE",
			"no configuration was looked at, nor the ports, disk, record and daemon it names")
		return e.found
	}
	cfg, err := config.Load(file)
	if err != nil {
		e.clock(nil)
		e.wrong("config", "correct it; `tramd config check "+file+"` shows the same", "%v", err)
		return e.found
	}
	e.clock(cfg)
	e.config(file, cfg)
	snap := e.daemon(ctx, cfg)
	e.ports(cfg, ports, snap != nil)
	e.place(filepath.Dir(cfg.Store.Path))
	e.record(ctx, cfg)
	e.backups(cfg)
	e.reach(ctx, cfg)
	return e.found
}

type examination struct {
	m     Machine
	found []Finding
}

func (e *examination) add(check string, s Status, cure, format string, args ...any) {
	e.found = append(e.found, Finding{check, s, fmt.Sprintf(format, args...), cure})
}

func (e *examination) ok(check, format string, args ...any) { e.add(check, OK, "", format, args...) }
func (e *examination) warn(check, cure, format string, args ...any) {
	e.add(check, Warning, cure, format, args...)
}
func (e *examination) wrong(check, cure, format string, args ...any) {
	e.add(check, Wrong, cure, format, args...)
}
