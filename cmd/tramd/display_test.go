package main

import (
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
	"tramd/cmd/tramd/internal/tui"
)

// One key of the configuration turns every figure for people, and none for programs. By hand: 0.3 mm/m is 61.88 seconds
// of arc, 3.6 thou a foot.
func TestPeopleReadTheUnitsOfTheConfiguration(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ units, lean, other string }{
		{"mm", "+0.3000 mm/m", "-0.2000 mm/m"}, {"arcsec", "+61.88 arcsec", "-41.25 arcsec"},
		{"inch", "+3.600 thou/ft", "-2.400 thou/ft"},
	} {
		s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2")+shopAdjusters+"[display]\nunits = \""+c.units+"\"\n")
		s.storeSweep(t, 0.3, -0.2)
		_, _, errOut := call(t, "show", "--config", s.config, "1")
		if errOut != "" {
			t.Error(errOut)
		}
		for command, want := range map[string]string{"show": c.lean, "runs": strings.Fields(c.lean)[1],
			"advise": strings.Fields(c.lean)[1]} {
			args := []string{command, "--config", s.config}
			if command == "show" {
				args = append(args, "1")
			}
			_, out, errOut := call(t, args...)
			if !strings.Contains(out, want) || c.units != "mm" && strings.Contains(out, " mm/m") {
				t.Errorf("%s in %s: %s%s", command, c.units, out, errOut)
			}
			if command == "show" && !strings.Contains(out, c.other) {
				t.Errorf("%s in %s: %s", command, c.units, out)
			}
			_, out, errOut = call(t, append(args, "--json")...)
			if !strings.Contains(out, "mm_per_m") || c.units != "mm" &&
				strings.Contains(out, strings.Fields(c.lean)[1]) {
				t.Errorf("%s --json in %s: %s%s", command, c.units, out, errOut)
			}
		}
	}
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2")+shopAdjusters+"[display]\nunits = \"arcsec\"\n")
	s.storeSweep(t, 0.3, -0.2)
	for command, want := range map[string][]string{"report": {"lean, arcsec</th>", "1 mm/m is 206.26 arcsec"},
		"job": {"<th>Tilt, arcsec</th>", "61.9 ± "}} {
		_, out, errOut := call(t, command, "--config", s.config)
		for _, w := range want {
			if !strings.Contains(out, w) {
				t.Errorf("%s in arcsec lacks %s: %s%s", command, w, out, errOut)
			}
		}
	}
	s = newShop(t, encoderPorts("/dev/none-1", "/dev/none-2")+"[display]\nunits = \"furlong\"\n")
	if status, _, errOut := call(t, "config", "check", s.config); status != exitFailed ||
		!strings.Contains(errOut, "display.units") || !strings.Contains(errOut, "mm, inch, arcsec") {
		t.Errorf("furlongs: status %d, %s", status, errOut)
	}
}

func TestTheWatchIsInTheUnitsOfTheConfiguration(t *testing.T) {
	t.Parallel()
	u, err := display.Of("arcsec", "")
	if err != nil {
		t.Fatal(err)
	}
	s := &api.Snapshot{Machine: "linnet", At: time.Now(), Limit: 0.07,
		Drift: &api.DriftState{Alarms: []api.Alarm{{Kind: "shift", Text: "tilt moved by +0.0309 mm/m"}}}}
	if got := tui.View(s, 100, 0, u); !strings.Contains(got, "moved by +6.37 arcsec") {
		t.Error(got)
	}
}
