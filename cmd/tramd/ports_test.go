package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tramd/device/portlist"
)

// madeUpSys is a machine with one adapter plugged in.
func madeUpSys(t *testing.T) portlist.Roots {
	t.Helper()
	dir := t.TempDir()
	r := portlist.Roots{Sys: filepath.Join(dir, "sys"), Dev: filepath.Join(dir, "dev"),
		Proc: filepath.Join(dir, "proc")}
	usb := filepath.Join(r.Sys, "devices/usb1/1-1")
	port := filepath.Join(usb, "1-1:1.0/ttyUSB0")
	for path, text := range map[string]string{
		filepath.Join(usb, "idVendor"): "1209\n", filepath.Join(usb, "idProduct"): "0001\n",
		filepath.Join(usb, "serial"):                   "LN7\n",
		filepath.Join(usb, "1-1:1.0/bInterfaceNumber"): "00\n", filepath.Join(port, "latency_timer"): "16\n",
		filepath.Join(port, "tty/ttyUSB0/dev"): "188:0\n", filepath.Join(r.Dev, "ttyUSB0"): "",
		filepath.Join(r.Proc, "77/comm"): "other\n",
	} {
		mustWrite(t, path, text)
	}
	for at, to := range map[string]string{
		filepath.Join(port, "tty/ttyUSB0/device"): port, filepath.Join(r.Sys, "class/tty/ttyUSB0"): filepath.Join(
			port, "tty/ttyUSB0"),
		filepath.Join(r.Dev, "serial/by-id/usb-Bridge_LN7-if00-port0"): "../../ttyUSB0",
		filepath.Join(r.Proc, "77/fd/4"):                               filepath.Join(r.Dev, "ttyUSB0"),
	} {
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(to, at); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

func mustWrite(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestPortsNamesWhatIsPluggedIn(t *testing.T) {
	r := madeUpSys(t)
	var out strings.Builder
	if err := (&portsCmd{roots: r}).Run(&env{out: &out}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"/serial/by-id/usb-Bridge_LN7-if00-port0\n", "USB 1209:0001", "serial number LN7",
		"interface 00", "latency timer 16 ms",
		"open by other (pid 77)", "[latency]"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing from\n%s", want, out.String())
		}
	}
	out.Reset()
	if err := (&portsCmd{roots: r, JSON: true}).Run(&env{out: &out}); err != nil {
		t.Fatal(err)
	}
	var p portlist.Port
	if err := json.Unmarshal([]byte(out.String()), &p); err != nil || p.USB == nil || p.USB.Serial != "LN7" ||
		*p.LatencyMS != 16 || p.OpenBy[0].PID != 77 {
		t.Errorf("%v: %s", err, out.String())
	}
}

func TestPortsOnThisMachine(t *testing.T) {
	if status, out, errOut := call(t, "ports"); status != exitDone || out == "" {
		t.Errorf("status %d, %s%s", status, out, errOut)
	}
}
