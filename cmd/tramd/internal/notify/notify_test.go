package notify

import (
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The words are those of sd_notify(3), systemd 252.
func TestTheManagerIsToldInItsOwnWords(t *testing.T) {
	for _, name := range []string{filepath.Join(t.TempDir(), "n"), "@tramd-notify-test-" + strconv.Itoa(os.Getpid())} {
		l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		t.Setenv("NOTIFY_SOCKET", name)
		t.Setenv("WATCHDOG_USEC", "60000000")
		t.Setenv("WATCHDOG_PID", strconv.Itoa(os.Getpid()))
		m, err := FromEnvironment()
		if err != nil || m.Watchdog() != time.Minute {
			t.Fatalf("%v, watchdog %v", err, m.Watchdog())
		}
		for _, c := range []struct {
			say  func() error
			want string
		}{
			{func() error { return m.Ready("two\nlines") }, "READY=1\nSTATUS=two lines"},
			{m.Alive, "WATCHDOG=1"},
			{m.Reloading, "RELOADING=1\nMONOTONIC_USEC="},
			{m.Stopping, "STOPPING=1\nSTATUS=stopping"},
			{func() error { return m.Status("fine") }, "STATUS=fine"},
		} {
			if err := c.say(); err != nil {
				t.Fatal(err)
			}
			buf := make([]byte, 256)
			n, err := l.Read(buf)
			if err != nil || !strings.HasPrefix(string(buf[:n]), c.want) {
				t.Errorf("told %q, %v; want %q", buf[:n], err, c.want)
			}
		}
	}
}

func TestWithoutAManagerNothingIsSaidAndBadAddressesAreRefused(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	m, err := FromEnvironment()
	if m != nil || err != nil || m.Watchdog() != 0 || m.Ready("x") != nil || m.Alive() != nil || m.Stopping() != nil {
		t.Errorf("%v, %v", m, err)
	}
	t.Setenv("NOTIFY_SOCKET", "relative")
	if _, err := FromEnvironment(); err == nil {
		t.Error("a relative address was taken")
	}
	t.Setenv("NOTIFY_SOCKET", "/nowhere/at/all")
	for usec, want := range map[string]bool{"": true, "0": false, "-1": false, "soon": false,
		"99999999999999999999": false, "1000": true} {
		t.Setenv("WATCHDOG_USEC", usec)
		t.Setenv("WATCHDOG_PID", "")
		if _, err := FromEnvironment(); (err == nil) != want {
			t.Errorf("WATCHDOG_USEC=%q: %v", usec, err)
		}
	}
	t.Setenv("WATCHDOG_PID", "1")
	if m, err := FromEnvironment(); err != nil || m.Watchdog() != 0 {
		t.Errorf("a watchdog for another process was taken for ours: %v, %v", m.Watchdog(), err)
	}
	if m, _ := FromEnvironment(); m.Alive() == nil {
		t.Error("a manager that is not there was told")
	}
}
