package doctor

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/certs/certstest"
	"tramd/cmd/tramd/internal/client"
	"tramd/store"
)

// healthy is a made-up machine on which nothing is wrong, and its configuration.
func healthy(t *testing.T) (m Machine, file string) {
	t.Helper()
	root := t.TempDir()
	port := "/sys/devices/usb1/1-1/1-1:1.0/ttyUSB0"
	for path, text := range map[string]string{
		"/sys/devices/usb1/1-1/idVendor": "1209\n", "/sys/devices/usb1/1-1/idProduct": "0001\n",
		"/sys/devices/usb1/1-1/serial": "LN7\n",
		port + "/latency_timer":        "1\n", port + "/tty/ttyUSB0/dev": "188:0\n", "/dev/ttyUSB0": "",
		"/run/udev/control":                            "",
		"/mnt/stick/linnet-000001-20260301T023000Z.db": "",
		"/proc/1/comm":                                 "systemd\n", "/proc/uptime": "1 1\n",
		"/etc/group":                             "root:x:0:\ndialout:x:20:tramd,joiner\n",
		"/usr/lib/systemd/system/tramd@.service": "", throttled: "0\n", "/var/lib/tramd/tramd.db": "",
		"/etc/tramd/linnet.toml": `[machine]
name = "linnet"
[store]
path = "/var/lib/tramd/tramd.db"
[backup]
to = "/mnt/stick"
[alarm]
alertmanager = ["http://alerts.shop:9093"]
[mail]
server = "mail.shop:587"
from = "linnet@shop.example"
to = ["joiner@shop.example"]
[mqtt]
broker = "mqtt://broker.shop"
[[indicator]]
name = "arm"
port = "/dev/serial/by-id/usb-Bridge_LN7"
radius_mm = 120.0
[angle]
source = "stations"
`,
	} {
		write(t, filepath.Join(root, path), text)
	}
	for at, to := range map[string]string{
		port + "/tty/ttyUSB0/device": root + port, "/sys/class/tty/ttyUSB0": root + port + "/tty/ttyUSB0",
		"/dev/serial/by-id/usb-Bridge_LN7": "../../ttyUSB0",
	} {
		link(t, to, filepath.Join(root, at))
	}
	path := filepath.Join(root, "/var/lib/tramd/tramd.db")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return Machine{
		Root: root, User: "joiner", UID: 1000, Groups: []string{"joiner", "dialout", "tramd"}, ClockSet: func() bool {
			return true
		}, Now: time.Now, Patience: time.Minute,
		Statfs: func(string) (unix.Statfs_t, error) {
			return unix.Statfs_t{Type: 0xef53, Bsize: 4096, Bavail: 1 << 20}, nil
		},
		Device: func(path string) (uint64, error) { return uint64(len(path)), nil }, // each folder on a disk of its own
		Access: func(string) error { return nil },
		Daemon: func(context.Context, string) (*api.Snapshot, error) {
			return &api.Snapshot{Machine: "linnet", Store: api.StoreState{OK: true},
				Clock: api.ClockState{Set: true}}, nil
		},
		Dial: answering("220 mail.shop ready\r\n"),
	}, filepath.Join(root, "/etc/tramd/linnet.toml")
}

// answering returns a way to other computers of which each says the same first.
func answering(first string) func(context.Context, string, string) (net.Conn, error) {
	return func(context.Context, string, string) (net.Conn, error) {
		near, far := net.Pipe()
		go func() {
			_, _ = io.WriteString(far, first) // whoever only knocks does not read it
			_, _ = io.Copy(io.Discard, far)
			far.Close()
		}()
		return near, nil
	}
}

// distrusted puts a server with a stranger's certificate in the place of an address.
func distrusted(addr string) func(*testing.T, *Machine, string) {
	return func(t *testing.T, m *Machine, _ string) {
		cert, key := certstest.New(t, "stranger").Issue("broker.shop", 1, time.Now().Add(time.Hour))
		pair, err := tls.X509KeyPair(cert, key)
		if err != nil {
			t.Fatal(err)
		}
		l, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: []tls.Certificate{pair}})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		go func() {
			for c, err := l.Accept(); err == nil; c, err = l.Accept() {
				_ = c.(*tls.Conn).Handshake() // the client leaves
				c.Close()
			}
		}()
		others := m.Dial
		m.Dial = func(ctx context.Context, network, to string) (net.Conn, error) {
			if to == addr {
				return net.Dial("tcp", l.Addr().String())
			}
			return others(ctx, network, to)
		}
	}
}

// unanswered refuses one address.
func unanswered(addr string) func(*testing.T, *Machine, string) {
	return func(_ *testing.T, m *Machine, _ string) {
		others := m.Dial
		m.Dial = func(ctx context.Context, network, to string) (net.Conn, error) {
			if to == addr {
				return nil, errors.New("connection refused")
			}
			return others(ctx, network, to)
		}
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func link(t *testing.T, to, at string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(to, at); err != nil {
		t.Fatal(err)
	}
}

func TestAHealthyMachineHasNoComplaints(t *testing.T) {
	t.Parallel()
	m, file := healthy(t)
	checks := map[string]bool{}
	for _, f := range Examine(t.Context(), m, file) {
		checks[f.Check] = true
		if f.Status != OK {
			t.Errorf("%+v", f)
		}
	}
	for _, c := range []string{"user", "udev", "latency", "clock", "power", "config", "page", "daemon", "port of arm",
		"disk", "record", "backup", "alarm", "mail", "mqtt"} {
		if !checks[c] {
			t.Errorf("%s was not looked at", c)
		}
	}
}

// The machine's input lines are looked at where they are, and their ports like any other.
func TestInputsAreLookedAt(t *testing.T) {
	m, file := healthy(t)
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	write(t, file, string(text)+`
[[input]]
name = "good"
source = "file"
file = "/sys/good"
[[input]]
name = "bad"
source = "file"
file = "/sys/bad"
[[input]]
name = "gone"
source = "file"
file = "/sys/gone"
[[input]]
name = "feed"
port = "/dev/serial/by-id/none"
modbus = { address = 1 }
[hours]
port = "/dev/serial/by-id/nothing"
modbus = { address = 1, register = 1, type = "uint32", scale = "1 h" }
`)
	write(t, m.at("/sys/good"), "1\n")
	write(t, m.at("/sys/bad"), "in\n")
	found := map[string]Finding{}
	for _, f := range Examine(t.Context(), m, file) {
		found[f.Check] = f
	}
	for check, want := range map[string]Finding{
		"input good": {Status: OK, Text: "/sys/good says 1"}, "input bad": {Status: Wrong, Text: `/sys/bad says "in"`},
		"input gone":         {Status: Wrong, Text: "/sys/gone is not there"},
		"port of input feed": {Status: Wrong, Text: "/dev/serial/by-id/none is not there"},
		"port of the hours":  {Status: Wrong, Text: "/dev/serial/by-id/nothing is not there"},
	} {
		if f := found[check]; f.Status != want.Status || f.Text != want.Text || (f.Cure == "") != (f.Status == OK) {
			t.Errorf("%s: %+v, want %+v", check, f, want)
		}
	}
}

func TestEachIllIsFoundWithItsCure(t *testing.T) {
	t.Parallel()
	statfs := func(st unix.Statfs_t) func(*testing.T, *Machine, string) {
		return func(_ *testing.T, m *Machine, _ string) {
			m.Statfs = func(string) (unix.Statfs_t, error) { return st, nil }
		}
	}
	put := func(path, text string) func(*testing.T, *Machine, string) {
		return func(t *testing.T, m *Machine, _ string) { write(t, m.at(path), text) }
	}
	remove := func(path string) func(*testing.T, *Machine, string) {
		return func(t *testing.T, m *Machine, _ string) {
			if err := os.RemoveAll(m.at(path)); err != nil {
				t.Fatal(err)
			}
		}
	}
	edit := func(old, new string) func(*testing.T, *Machine, string) {
		return func(t *testing.T, _ *Machine, file string) {
			text, err := os.ReadFile(file)
			if err != nil || !strings.Contains(string(text), old) {
				t.Fatalf("%v, %q", err, old)
			}
			write(t, file, strings.Replace(string(text), old, new, 1))
		}
	}
	secure := func(left time.Duration) func(*testing.T, *Machine, string) {
		return func(t *testing.T, m *Machine, file string) {
			edit("[store]", "[http]\ntls_cert = \"/etc/tramd/cert.pem\"\ntls_key = \"/etc/tramd/key.pem\"\n[store]")(
				t, m, file)
			if left != 0 {
				cert, _ := certstest.New(t, "shop").Issue("linnet", 1, time.Now().Add(left))
				write(t, m.at("/etc/tramd/cert.pem"), string(cert))
			}
		}
	}
	daemon := func(s *api.Snapshot, err error) func(*testing.T, *Machine, string) {
		return func(_ *testing.T, m *Machine, _ string) {
			m.Daemon = func(context.Context, string) (*api.Snapshot, error) { return s, err }
		}
	}
	const big = 1 << 20
	for _, c := range []struct {
		name      string
		ill       func(*testing.T, *Machine, string)
		check     string
		status    Status
		says, way string
	}{
		{"not in the group", func(_ *testing.T, m *Machine, _ string) {
			m.User, m.Groups = "turner", []string{"turner"}
		}, "user", Wrong, "not in the group dialout", "usermod -aG dialout turner"},
		{"root", func(_ *testing.T, m *Machine, _ string) { m.UID = 0 }, "user", Unknown, "as root", "sudo -u tramd"},
		{"the service is not in the group", put("/etc/group", "dialout:x:20:joiner\n"), "service user", Wrong,
			"tramd is not in the group", "usermod -aG dialout tramd"},
		{"no udev", remove("/run/udev/control"), "udev", Wrong, "does not run", "systemd-udevd"},
		{"slow adapter", put("/sys/devices/usb1/1-1/1-1:1.0/ttyUSB0/latency_timer", "16\n"), "latency", Warning,
			"for 16 ms", "/sys/class/tty/ttyUSB0/device/latency_timer"},
		{"a rival", put("/proc/88/comm", "ModemManager\n"), "rivals", Warning, "ModemManager runs (pid 88)",
			"disable --now modemmanager"},
		{"clock", func(_ *testing.T, m *Machine, _ string) { m.ClockSet = func() bool { return false } }, "clock",
			Warning, "nothing has set the clock", "set-ntp true"},
		{"a clock that is trusted", func(t *testing.T, m *Machine, file string) {
			m.ClockSet = func() bool { return false }
			edit("[store]", "[clock]\ntrusted = true\n[store]")(t, m, file)
		}, "clock", OK, "trusted = true takes it as it is", ""},
		{"a page on IPv6's loopback",
			edit(
				"[store]",
				"[http]\nlisten = \"[0:0:0:0:0:0:0:1]:9743\"\npassword_hash = \"credential:password_hash\"\n[store]"),
			"page", OK, "on this machine only", ""},
		{"weak supply now", put(throttled, "50005\n"), "power", Wrong, "right now", "supply"},
		{"weak supply before", put(throttled, "0x50000\n"), "power", Warning, "since boot", "supply"},
		{"odd firmware", put(throttled, "maybe\n"), "power", Unknown, `"maybe"`, ""},
		{"no config", remove("/etc/tramd/linnet.toml"), "config", Wrong, "no such file", "config check"},
		{"a mistake in it", edit("120.0", "-1"), "config", Wrong, "radius_mm", "config check"},
		{"a hash for all to read", edit("[store]", "[http]\npassword_hash = \"$2a$10$x\"\n[store]"), "config", Warning,
			"everybody", "chmod o-r"},
		{"passwords in the clear", edit(
			"[store]", "[http]\nlisten = \"0.0.0.0:9743\"\npassword_hash = \"credential:password_hash\"\n[store]"),
			"page", Warning, "unencrypted", "tls_cert"},
		{"a certificate that is not there", secure(0), "page", Wrong, "cannot be read", "http.tls_cert"},
		{"a certificate that has expired", secure(-time.Hour), "page", Wrong, "has expired", "renew"},
		{"a certificate about to expire", secure(48 * time.Hour), "page", Warning, "expires on", "renew"},
		{"a good certificate", secure(60 * 24 * time.Hour), "page", OK, "good until", ""},
		{"no adapter", remove("/dev/serial/by-id/usb-Bridge_LN7"), "port of arm", Wrong, "is not there", "tramd ports"},
		{"no foot switch", edit("source = \"stations\"", "source = \"stations\"\ntrigger_port = \"/dev/none\""),
			"port of the foot switch", Wrong, "is not there", "tramd ports"},
		{"a name that moves", edit("/dev/serial/by-id/usb-Bridge_LN7", "/dev/ttyUSB0"), "port of arm", Warning,
			"another adapter", `port = "/dev/serial/by-id/usb-Bridge_LN7"`},
		{"no right to it", func(_ *testing.T, m *Machine, _ string) {
			m.Access = func(string) error { return unix.EACCES }
		}, "port of arm", Wrong, "may not open", "group of the port"},
		{"somebody else has it", func(t *testing.T, m *Machine, _ string) {
			write(t, m.at("/proc/77/comm"), "terminal\n")
			link(t, m.at("/dev/ttyUSB0"), m.at("/proc/77/fd/4"))
		}, "port of arm", Wrong, "open by terminal (pid 77)", "stop that program"},
		{"a record that is forgotten", statfs(unix.Statfs_t{Type: 0x01021994, Bsize: 4096, Bavail: big}), "disk", Wrong,
			"tmpfs", "store.path"},
		{"a system that forgets", statfs(unix.Statfs_t{Type: 0x794c7630, Bsize: 4096, Bavail: big}), "disk", Wrong,
			"overlay", "partition of its own"},
		{"a worn card", statfs(unix.Statfs_t{Type: 0xef53, Bsize: 4096, Bavail: big, Flags: unix.ST_RDONLY}), "disk",
			Wrong, "read-only", "remount"},
		{"a full disk", statfs(unix.Statfs_t{Type: 0xef53, Bsize: 4096, Bavail: 10}), "disk", Wrong, "0 MB",
			"larger disk"},
		{"a disk that fills", statfs(unix.Statfs_t{Type: 0xef53, Bsize: 4096, Bavail: 1 << 17}), "disk", Warning,
			"512 MB", "larger disk"},
		{"no folder", remove("/var/lib/tramd"), "disk", Wrong, "no folder", "make it"},
		{"a broken record", put("/var/lib/tramd/tramd.db", strings.Repeat("broken ", 4000)), "record", Wrong,
			"tramd.db", ""},
		{"no backups", edit("[backup]\nto = \"/mnt/stick\"\n", ""), "backup", Warning, "copied nowhere",
			"[backup] to ="},
		{"a stick that is not plugged in", remove("/mnt/stick"), "backup", Wrong, "no folder /mnt/stick", "plugged in"},
		{"backups on the record's disk", func(_ *testing.T, m *Machine, _ string) {
			m.Device = func(string) (uint64, error) { return 7, nil }
		}, "backup", Wrong, "the disk that the record is on", "mount another disk"},
		{"backups on the record's disk, as asked", func(t *testing.T, m *Machine, file string) {
			m.Device = func(string) (uint64, error) { return 7, nil }
			edit("to = \"/mnt/stick\"", "to = \"/mnt/stick\"\nsame_disk = true")(t, m, file)
		}, "backup", Warning, "own disk", "copy them"},
		{"no backup yet", remove("/mnt/stick/linnet-000001-20260301T023000Z.db"), "backup", Warning,
			"no backup in /mnt/stick yet", "tramd backup"},
		{"old backups", func(_ *testing.T, m *Machine, _ string) {
			m.Now = func() time.Time { return time.Now().Add(9 * 24 * time.Hour) }
		}, "backup", Wrong, "is 9 days old", "tramd backup"},
		{"logged in before", func(_ *testing.T, m *Machine, _ string) { m.Groups = []string{"joiner"} }, "user", Wrong,
			"logged in before", "newgrp dialout"},
		{"not in the service's group", func(_ *testing.T, m *Machine, _ string) { m.Groups = []string{"dialout"} },
			"service group", Warning, "not in the group tramd", "usermod -aG tramd joiner"},
		{"alarms go nowhere", edit(
			"[alarm]\nalertmanager = [\"http://alerts.shop:9093\"]\n[mail]\nserver = \"mail.shop:587\"\nfrom = \"linnet@shop.example\"\nto = [\"joiner@shop.example\"]\n", ""), "alarm", Warning, "sent to no one", "[alarm] alertmanager"},
		{"Alertmanager is away", unanswered("alerts.shop:9093"), "alarm", Wrong,
			"alerts.shop:9093 does not answer: connection refused", "[alarm]"},
		{"a webhook that is away", func(t *testing.T, m *Machine, file string) {
			edit("alertmanager = [\"http://alerts.shop:9093\"]", "webhook = \"https://chat.shop/alarm\"")(t, m, file)
			unanswered("chat.shop:443")(t, m, file)
		}, "alarm", Wrong, "chat.shop:443 does not answer", "[alarm]"},
		{"mail is away", unanswered("mail.shop:587"), "mail", Wrong, "mail.shop:587 does not answer", "mail.server"},
		{"no mail server", func(_ *testing.T, m *Machine, _ string) { m.Dial = answering("SSH-2.0-x\r\n") }, "mail",
			Wrong, `it says "SSH-2.0-x"`, "mail.server"},
		{"the broker is away", unanswered("broker.shop:1883"), "mqtt", Wrong, "broker.shop:1883 does not answer",
			"mqtt.broker"},
		{"a broker that is none of ours", func(t *testing.T, m *Machine, file string) {
			edit("mqtt://broker.shop", "mqtts://broker.shop")(t, m, file)
			distrusted("broker.shop:8883")(t, m, file)
		}, "mqtt", Wrong, "a certificate that is not trusted", "ca-certificates"},
		{"a clock that the daemon cannot see", daemon(&api.Snapshot{Store: api.StoreState{OK: true}}, nil),
			"daemon clock", Warning, "the daemon cannot see it", "chronyd"},
		{"no daemon", daemon(nil, fmt.Errorf("%w at x", client.ErrNoDaemon)), "daemon", Warning, "no daemon answers",
			"systemctl start tramd@linnet"},
		{"a daemon that will not be asked", daemon(nil, errors.New("dial: permission denied")), "daemon", Unknown,
			"cannot be asked", "sudo"},
		{"a daemon that cannot store",
			daemon(&api.Snapshot{Store: api.StoreState{Error: "disk full: free some space"}}, nil), "daemon",
			Wrong, "disk full", ""},
		{"a device in trouble", daemon(
			&api.Snapshot{Store: api.StoreState{OK: true},
				Devices: []api.DeviceState{{Name: "arm", State: "lost", Error: "check the cable"}}}, nil),
			"device arm", Wrong, "lost: check the cable", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m, file := healthy(t)
			c.ill(t, &m, file)
			found := Examine(t.Context(), m, file)
			for _, f := range found {
				if f.Check == c.check && f.Status == c.status && strings.Contains(f.Text, c.says) &&
					strings.Contains(f.Cure, c.way) {
					return
				}
			}
			t.Errorf("not found among %+v", found)
		})
	}
}

func TestThisMachineCanBeExamined(t *testing.T) {
	m := This()
	found := Examine(t.Context(), m, "")
	if len(found) < 4 || m.User == "" && m.UID == 0 {
		t.Errorf("%+v on %+v", found, m)
	}
	if _, err := m.Statfs("/"); err != nil {
		t.Error(err)
	}
	if err := m.Access(filepath.Join(t.TempDir(), "none")); !errors.Is(err, unix.ENOENT) {
		t.Errorf("access to nothing: %v", err)
	}
	if _, err := m.Daemon(t.Context(), filepath.Join(t.TempDir(), "none")); !errors.Is(err, client.ErrNoDaemon) {
		t.Errorf("no daemon: %v", err)
	}
}
