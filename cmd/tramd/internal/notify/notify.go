// Package notify tells the service manager how the daemon fares, by the datagrams of sd_notify(3): it is ready, it
// loads its configuration again, it is alive, it stops. Without a manager every call does nothing.
package notify

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Manager is the way to the service manager. A nil Manager stands for none.
type Manager struct {
	address  net.UnixAddr
	watchdog time.Duration
}

// FromEnvironment finds the manager that started this process; nil when none did.
func FromEnvironment() (*Manager, error) {
	path := os.Getenv("NOTIFY_SOCKET")
	if path == "" {
		return nil, nil
	}
	if path[0] != '/' && path[0] != '@' {
		return nil, fmt.Errorf("NOTIFY_SOCKET=%q is no address of a unix socket; it begins with / or @", path)
	}
	m := &Manager{address: net.UnixAddr{Name: path, Net: "unixgram"}} // Go takes @ for an abstract name as well
	usec := os.Getenv("WATCHDOG_USEC")
	if pid := os.Getenv("WATCHDOG_PID"); usec == "" || pid != "" && pid != strconv.Itoa(os.Getpid()) {
		return m, nil
	}
	n, err := strconv.ParseInt(usec, 10, 64)
	if err != nil || n <= 0 || n > int64(100*365*24*time.Hour/time.Microsecond) {
		return nil, fmt.Errorf("WATCHDOG_USEC=%q is no time in microseconds", usec)
	}
	m.watchdog = time.Duration(n) * time.Microsecond
	return m, nil
}

// Watchdog is how long the manager goes without a word of life before it restarts the daemon; 0: it does not ask.
func (m *Manager) Watchdog() time.Duration {
	if m == nil {
		return 0
	}
	return m.watchdog
}

// Ready says that the daemon does its work, and how, in words for people.
func (m *Manager) Ready(status string) error { return m.send("READY=1", "STATUS="+status) }

// Alive says that the daemon's health was looked at and is good.
func (m *Manager) Alive() error { return m.send("WATCHDOG=1") }

// Status says how the daemon is, in words for people.
func (m *Manager) Status(status string) error { return m.send("STATUS=" + status) }

// Reloading says that the configuration is being read again. Ready ends it.
func (m *Manager) Reloading() error {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		return err
	}
	return m.send("RELOADING=1", "MONOTONIC_USEC="+strconv.FormatInt(ts.Nano()/1000, 10))
}

// Stopping says that the daemon ends, as it was asked to.
func (m *Manager) Stopping() error { return m.send("STOPPING=1", "STATUS=stopping") }

func (m *Manager) send(lines ...string) error {
	if m == nil {
		return nil
	}
	c, err := net.DialUnix("unixgram", nil, &m.address)
	if err != nil {
		return fmt.Errorf("tell the service manager: %w", err)
	}
	defer c.Close()
	for i, l := range lines {
		lines[i] = strings.ReplaceAll(l, "\n", " ")
	}
	if err := c.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		return err
	}
	if _, err := c.Write([]byte(strings.Join(lines, "\n"))); err != nil {
		return fmt.Errorf("tell the service manager: %w", err)
	}
	return nil
}
