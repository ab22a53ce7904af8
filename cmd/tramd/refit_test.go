package main

import (
	"os"
	"strings"
	"testing"
)

// Refitting works with the daemon running and without, keeps the old results, and an indicator that was changed between
// two runs is pointed out.
func TestRefitWithAndWithoutADaemon(t *testing.T) {
	t.Parallel()
	ports := encoderPorts("/dev/serial/by-id/usb-none-if00", "/dev/serial/by-id/usb-none-if01")
	s := newShop(t, strings.Replace(ports, "radius_mm", "serial = \"A1\"\nradius_mm", 1))
	csv := recordedSweep(t)
	if status, _, errOut := call(t, "import", "--config", s.config, csv); status == exitFailed {
		t.Fatal(errOut)
	}
	status, out, errOut := call(t, "refit", "--config", s.config, "--keep", "1")
	if status != exitDone || !strings.Contains(out, "run 1 before") || !strings.Contains(out, "run 1 now") {
		t.Errorf("without a daemon: %d %s %s", status, out, errOut)
	}
	text, err := os.ReadFile(s.config)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.config, []byte(strings.Replace(string(text), `"A1"`, `"B2"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	s.daemon(t)
	status, out, errOut = call(t, "import", "--config", s.config, "--again", "--json", csv)
	if status == exitFailed || !strings.Contains(out, `"indicator_changed"`) || !strings.Contains(out, "serial A1") {
		t.Errorf("another indicator: %d %s %s", status, out, errOut)
	}
	status, out, errOut = call(t, "refit", "--config", s.config, "--keep", "--json", "1", "2")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if status != exitDone || len(lines) != 2 || !strings.Contains(lines[0], `"run":1`) ||
		strings.Contains(lines[0], "indicator_changed") ||
		!strings.Contains(lines[1], "indicator_changed") {
		t.Errorf("through the daemon: %d %s %s", status, out, errOut)
	}
	if status, _, errOut = call(t, "refit", "--config", s.config, "99"); status != exitFailed ||
		!strings.Contains(errOut, "run 99") {
		t.Errorf("no such run: %d %s", status, errOut)
	}
}
