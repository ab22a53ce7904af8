package main

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// manager stands in for the service manager: the socket the daemon speaks to.
type manager struct {
	*net.UnixConn
	t *testing.T
}

func newManager(t *testing.T, dir string) manager {
	t.Helper()
	name := filepath.Join(dir, "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	t.Setenv("NOTIFY_SOCKET", name)
	t.Setenv("WATCHDOG_USEC", "600000")
	t.Setenv("WATCHDOG_PID", "")
	return manager{c, t}
}

// waitFor gives the first message with the words in it, and says which came before it.
func (m manager) waitFor(words string) (before []string) {
	m.t.Helper()
	if err := m.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		m.t.Fatal(err)
	}
	buf := make([]byte, 4096)
	for {
		n, err := m.Read(buf)
		if err != nil {
			m.t.Fatalf("no %q: %v; heard %q", words, err, before)
		}
		if strings.Contains(string(buf[:n]), words) {
			return append(before, string(buf[:n]))
		}
		before = append(before, string(buf[:n]))
	}
}

func (s shop) edit(t *testing.T, old, new string) {
	t.Helper()
	text, err := os.ReadFile(s.config)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), old) {
		t.Fatalf("%q is not in the configuration", old)
	}
	if err := os.WriteFile(s.config, []byte(strings.Replace(string(text), old, new, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestTheServiceManagerIsToldAndABadReloadChangesNothing(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	m := newManager(t, s.dir)
	p := s.daemon(t)
	if heard := m.waitFor("READY=1"); len(heard) != 1 {
		t.Errorf("before it was ready it said %q", heard)
	}
	m.waitFor("WATCHDOG=1")
	m.waitFor("0 of 2 devices live, sweep idle")
	hangUp := func() {
		t.Helper()
		if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		m.waitFor("RELOADING=1\nMONOTONIC_USEC=")
	}

	s.edit(t, "radius_mm = 120.0", "radius_mm = -1")
	hangUp()
	if said := last(m.waitFor("READY=1")); !strings.Contains(said, "refused, the old one holds") ||
		!strings.Contains(said, "radius_mm") {
		t.Errorf("of a bad file it said %q", said)
	}
	if body := get(t, "http://"+s.page+"/metrics"); !strings.Contains(body, `machine="linnet"`) {
		t.Error("the old configuration does not hold")
	}

	// A good file that cannot be started: its address is taken.
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	s.edit(t, "radius_mm = -1", "radius_mm = 120.0")
	s.edit(t, s.page, taken.Addr().String())
	hangUp()
	if said := last(m.waitFor("READY=1")); !strings.Contains(said, "the old one holds") ||
		!strings.Contains(said, "address already in use") {
		t.Errorf("of a taken address it said %q", said)
	}
	get(t, "http://"+s.page+"/metrics")

	s.edit(t, taken.Addr().String(), s.page)
	s.edit(t, `"linnet"`, `"wren"`)
	hangUp()
	if said := last(m.waitFor("READY=1")); !strings.Contains(said, "STATUS=wren") || strings.Contains(said, "refused") {
		t.Errorf("of a good file it said %q", said)
	}
	if body := get(t, "http://"+s.page+"/metrics"); !strings.Contains(body, `machine="wren"`) {
		t.Error("the new configuration is not in force")
	}
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	m.waitFor("STOPPING=1")
	if status := p.wait(); status != exitDone {
		t.Errorf("status %d", status)
	}
}

func TestAReloadWaitsForTheSweepInHand(t *testing.T) {
	other := startOther(t)
	s := newShop(t, encoderPorts(other.Paths.Indicator, other.Paths.Encoder))
	m := newManager(t, s.dir)
	p := s.daemon(t)
	run, err := s.client(t).StartSweep(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	s.edit(t, `"linnet"`, `"wren"`)
	if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	m.waitFor("RELOADING=1")
	if said := last(m.waitFor("READY=1")); !strings.Contains(said, "a sweep is in hand") {
		t.Errorf("it said %q", said)
	}
	if err := s.client(t).AbandonSweep(t.Context(), run); err != nil {
		t.Errorf("the sweep was cut off: %v", err)
	}
}

func last(heard []string) string { return heard[len(heard)-1] }
