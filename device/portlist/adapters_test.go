package portlist

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"
)

// machine is a made-up tree of what the kernel and udev publish, laid out as theirs is (sysfs-rules of the kernel's
// documentation; 60-serial.rules of systemd 252 for the links).
type machine struct {
	t testing.TB
	Roots
}

func newMachine(t testing.TB) machine {
	dir := t.TempDir()
	m := machine{t, Roots{Sys: filepath.Join(dir, "sys"), Dev: filepath.Join(dir, "dev"),
		Proc: filepath.Join(dir, "proc")}}
	for _, d := range []string{"sys/class/tty", "dev", "proc"} {
		m.ok(os.MkdirAll(filepath.Join(dir, d), 0o755))
	}
	return m
}

func (m machine) ok(err error) {
	m.t.Helper()
	if err != nil {
		m.t.Fatal(err)
	}
}

func (m machine) write(path, text string) {
	m.t.Helper()
	m.ok(os.MkdirAll(filepath.Dir(path), 0o755))
	m.ok(os.WriteFile(path, []byte(text), 0o644))
}

func (m machine) link(to, at string) {
	m.t.Helper()
	m.ok(os.MkdirAll(filepath.Dir(at), 0o755))
	m.ok(os.Symlink(to, at))
}

// tty makes the class entry of a port whose device is the folder dev below sys.
func (m machine) tty(node, dev string) {
	m.t.Helper()
	at := filepath.Join(m.Sys, dev, "tty", node)
	m.ok(os.MkdirAll(at, 0o755))
	m.link(filepath.Join(m.Sys, dev), filepath.Join(at, "device"))
	m.link(at, filepath.Join(m.Sys, "class/tty", node))
	m.write(filepath.Join(m.Dev, node), "")
}

type usb struct{ socket, vendor, product, serial, model string }

// plug makes a USB device with one interface and gives the interface's folder.
func (m machine) plug(u usb, iface string) string {
	m.t.Helper()
	dev := "devices/platform/usb1/" + u.socket
	for name, text := range map[string]string{"idVendor": u.vendor, "idProduct": u.product, "serial": u.serial,
		"product": u.model} {
		if text != "" {
			m.write(filepath.Join(m.Sys, dev, name), text+"\n")
		}
	}
	at := dev + "/" + u.socket + ":1." + strings.TrimPrefix(iface, "0")
	m.write(filepath.Join(m.Sys, at, "bInterfaceNumber"), iface+"\n")
	return at
}

// bridge plugs in an adapter whose driver puts a port between interface and tty, with a latency timer.
func (m machine) bridge(node string, u usb, latency string) {
	m.t.Helper()
	port := m.plug(u, "00") + "/" + node
	m.write(filepath.Join(m.Sys, port, "port_number"), "0\n")
	if latency != "" {
		m.write(filepath.Join(m.Sys, port, "latency_timer"), latency+"\n")
	}
	m.link("../../../../../../bus/usb-serial/drivers/bridge", filepath.Join(m.Sys, port, "driver"))
	m.tty(node, port)
}

func (m machine) list() []Port {
	m.t.Helper()
	ports, err := List(m.Roots)
	m.ok(err)
	// Names below the made-up roots read like those of a machine.
	for i := range ports {
		for _, s := range []*string{&ports[i].Name, &ports[i].Node, &ports[i].ByID, &ports[i].ByPath} {
			*s = strings.Replace(*s, m.Dev, "/dev", 1)
		}
	}
	return ports
}

func codes(p Port) string {
	var c []string
	for _, n := range p.Notes {
		c = append(c, n.Code)
	}
	return strings.Join(c, " ")
}

func TestABenchWithTwoAdaptersAndABoardsOwnPort(t *testing.T) {
	m := newMachine(t)
	m.bridge("ttyUSB0", usb{"1-1.2", "1209", "0001", "LN7", "Bridge"}, "16")
	m.link("../../ttyUSB0", filepath.Join(m.Dev, "serial/by-id/usb-Bridge_LN7-if00-port0"))
	m.link("../../ttyUSB0", filepath.Join(m.Dev, "serial/by-path/platform-usb-0:1.2:1.0-port0"))
	m.tty("ttyACM0", m.plug(usb{"1-1.3", "1209", "0002", "E4", "Encoder"}, "02"))
	m.link("../../ttyACM0", filepath.Join(m.Dev, "serial/by-id/usb-Encoder_E4-if02"))
	m.tty("ttyAMA0", "devices/platform/soc/uart")
	m.write(filepath.Join(m.Sys, "class/tty/console/active"), "tty1 ttyAMA0\n")
	m.tty("ttyS0", "devices/platform/serial8250")
	m.write(filepath.Join(m.Sys, "class/tty/ttyS0/type"), "0\n") // not on this board
	m.ok(os.MkdirAll(filepath.Join(m.Sys, "class/tty/tty1"), 0o755))

	sixteen := 16
	want := []Port{
		{Name: "/dev/serial/by-id/usb-Encoder_E4-if02", Node: "/dev/ttyACM0",
			ByID: "/dev/serial/by-id/usb-Encoder_E4-if02",
			USB: &USB{Vendor: "1209", Product: "0002", Serial: "E4", Model: "Encoder", Interface: "02",
				Path: "1-1.3"},
			OpenBy: []Process{}},
		{Name: "/dev/ttyAMA0", Node: "/dev/ttyAMA0", Console: true, OpenBy: []Process{}},
		{Name: "/dev/serial/by-id/usb-Bridge_LN7-if00-port0", Node: "/dev/ttyUSB0",
			ByID:   "/dev/serial/by-id/usb-Bridge_LN7-if00-port0",
			ByPath: "/dev/serial/by-path/platform-usb-0:1.2:1.0-port0", Driver: "bridge", LatencyMS: &sixteen,
			OpenBy: []Process{},
			USB: &USB{Vendor: "1209", Product: "0001", Serial: "LN7", Model: "Bridge", Interface: "00", Line: "0",
				Path: "1-1.2"}},
	}
	got := m.list()
	for i, c := range []string{"", "console", "latency"} {
		if i < len(got) {
			if codes(got[i]) != c {
				t.Errorf("%s: notes %q, want %q", got[i].Node, codes(got[i]), c)
			}
			got[i].Notes = nil
		}
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// Two adapters of one kind without serial numbers get one name by-id between them.
func TestTwinsAreNamedByTheirSockets(t *testing.T) {
	m := newMachine(t)
	twin := usb{"1-1.1", "1a86", "7523", "", "Serial"}
	m.bridge("ttyUSB0", twin, "")
	twin.socket = "1-1.4"
	m.bridge("ttyUSB1", twin, "")
	m.link("../../ttyUSB1", filepath.Join(m.Dev, "serial/by-id/usb-Serial-if00-port0"))
	for i, s := range []string{"1.1", "1.4"} {
		m.link(fmt.Sprintf("../../ttyUSB%d", i), filepath.Join(m.Dev, "serial/by-path/platform-usb-0:"+s+":1.0-port0"))
		m.link(fmt.Sprintf("../../ttyUSB%d", i),
			filepath.Join(m.Dev, "serial/by-path/platform-usbv2-0:"+s+":1.0-port0"))
	}
	for i, p := range m.list() {
		want := []string{"/dev/serial/by-path/platform-usb-0:1.1:1.0-port0",
			"/dev/serial/by-path/platform-usb-0:1.4:1.0-port0"}[i]
		if p.Name != want || codes(p) != "twin" {
			t.Errorf("%s is called %s with notes %q, want %s", p.Node, p.Name, codes(p), want)
		}
	}
	// Two lines of one adapter are no twins.
	m = newMachine(t)
	both := usb{"1-1", "0403", "6010", "", "Dual"}
	m.tty("ttyUSB0", m.plug(both, "00"))
	m.tty("ttyUSB1", m.plug(both, "01"))
	m.link("../../ttyUSB0", filepath.Join(m.Dev, "serial/by-id/usb-Dual-if00"))
	m.link("../../ttyUSB1", filepath.Join(m.Dev, "serial/by-id/usb-Dual-if01"))
	for i, p := range m.list() {
		if want := fmt.Sprintf("/dev/serial/by-id/usb-Dual-if0%d", i); p.Name != want || codes(p) != "no-serial" {
			t.Errorf("%s is called %s with notes %q, want %s", p.Node, p.Name, codes(p), want)
		}
	}
}

func TestWithoutUdevThereIsNoLastingName(t *testing.T) {
	m := newMachine(t)
	for _, n := range []string{"ttyUSB10", "ttyUSB9", "ttyUSB0"} {
		m.bridge(n, usb{"1-" + n[6:], "1209", "0001", "S" + n, "Bridge"}, "1")
	}
	got := m.list()
	for i, want := range []string{"/dev/ttyUSB0", "/dev/ttyUSB9", "/dev/ttyUSB10"} {
		if got[i].Name != want || codes(got[i]) != "no-stable-name" {
			t.Errorf("%d: %s, notes %q, want %s", i, got[i].Name, codes(got[i]), want)
		}
	}
}

func TestWhoHasItOpen(t *testing.T) {
	m := newMachine(t)
	m.bridge("ttyUSB0", usb{"1-1", "1209", "0001", "A", "Bridge"}, "")
	m.bridge("ttyUSB1", usb{"1-2", "1209", "0001", "B", "Bridge"}, "")
	m.link(filepath.Join(m.Dev, "ttyUSB0"), filepath.Join(m.Proc, "812/fd/5"))
	m.link(filepath.Join(m.Dev, "ttyUSB0"), filepath.Join(m.Proc, "812/fd/6"))
	m.link("/etc/passwd", filepath.Join(m.Proc, "813/fd/3"))
	m.write(filepath.Join(m.Proc, "812/comm"), "terminal\x1b[31m\n")
	m.write(filepath.Join(m.Proc, "900/comm"), "tramd\n")
	var st unix.Stat_t
	m.ok(unix.Stat(filepath.Join(m.Dev, "ttyUSB1"), &st))
	place := fmt.Sprintf("%02x:%02x:%d", unix.Major(uint64(st.Dev)), unix.Minor(uint64(st.Dev)), st.Ino)
	m.write(filepath.Join(m.Proc, "locks"), "1: FLOCK  ADVISORY  WRITE 900 "+place+
		" 0 EOF\n1: -> FLOCK  ADVISORY  WRITE 901 "+place+" 0 EOF\n2: POSIX ADVISORY READ 902 00:00:1 0 EOF\ncut\n")
	got := m.list()
	if d := cmp.Diff([]Process{{812, "terminal?[31m"}}, got[0].OpenBy); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]Process{{900, "tramd"}}, got[1].OpenBy); d != "" {
		t.Error(d)
	}
	if got[0].Hidden != 0 {
		t.Errorf("%d processes hidden, want none", got[0].Hidden)
	}
}

// The kernel's own words for a lock we really hold.
func TestALockOfThisProcessIsSeen(t *testing.T) {
	m := newMachine(t)
	m.bridge("ttyUSB0", usb{"1-1", "1209", "0001", "A", "Bridge"}, "")
	f, err := os.Open(filepath.Join(m.Dev, "ttyUSB0"))
	m.ok(err)
	defer f.Close()
	m.ok(unix.Flock(int(f.Fd()), unix.LOCK_EX))
	m.Proc = "/proc"
	got := m.list()
	if len(got[0].OpenBy) != 1 || got[0].OpenBy[0].PID != os.Getpid() {
		t.Errorf("open by %v, want this process, %d", got[0].OpenBy, os.Getpid())
	}
}

func TestWhatGoesAwayIsLeftOutAndNoListingIsAnError(t *testing.T) {
	m := newMachine(t)
	m.link(filepath.Join(m.Sys, "devices/gone"), filepath.Join(m.Sys, "class/tty/ttyUSB0"))
	m.link("../../ttyUSB0", filepath.Join(m.Dev, "serial/by-id/usb-gone"))
	if got := m.list(); len(got) != 0 {
		t.Errorf("%v", got)
	}
	if _, err := List(Roots{Sys: filepath.Join(m.Sys, "none")}); err == nil ||
		!strings.Contains(err.Error(), "must be mounted") {
		t.Errorf("%v", err)
	}
	if _, err := List(Roots{}); err != nil {
		t.Errorf("this machine: %v", err)
	}
}

func FuzzAttributesNeverSteerATerminal(f *testing.F) {
	f.Add("Bridge\x1b]0;x\a\xff\u202e")
	f.Fuzz(func(t *testing.T, s string) {
		for _, c := range clean(s) {
			if c < ' ' || c == 0x7f || c >= 0x80 && c < 0xa0 || c == '\u202e' {
				t.Fatalf("%q let %U through", s, c)
			}
		}
	})
}

// A console that the kernel's command line names counts, though it is not in use yet: an adapter that comes later
// becomes one.
func TestTheCommandLineNamesConsoles(t *testing.T) {
	m := newMachine(t)
	m.tty("ttyUSB0", m.plug(usb{"1-1", "0403", "6001", "LN7", "Bridge"}, "00"))
	m.tty("ttyUSB1", m.plug(usb{"1-2", "0403", "6001", "LN8", "Bridge"}, "00"))
	m.write(filepath.Join(m.Proc, "cmdline"), "root=/dev/sda1 console=tty0 console=ttyUSB1,115200n8 quiet\n")
	ports, err := List(m.Roots)
	if err != nil || len(ports) != 2 || ports[0].Console || !ports[1].Console {
		t.Errorf("%+v %v", ports, err)
	}
}
