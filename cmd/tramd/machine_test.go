package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// A controller that is not ours tells whether its spindle runs, and how long it has: on the page, with the run and in
// the metrics, after a kill and a correction too.
func TestWhatTheMachineSaysOfItself(t *testing.T) {
	t.Parallel()
	cmd, in, out := startPeer(t, "spindle.py")
	t.Cleanup(func() { _ = in.Close(); _ = cmd.Wait() })
	var peer struct{ Port string }
	first, err := bufio.NewReader(out).ReadBytes('\n')
	if err := json.Unmarshal(first, &peer); err != nil || peer.Port == "" {
		t.Fatalf("%q, %v", first, err)
	}
	if err != nil {
		t.Fatal(err)
	}
	m := startOther(t, "--tilt", "0.2", "--nod", "-0.1", "--rate", "200", "--encoder-rate", "200", "--seconds", "2",
		"--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder)+fmt.Sprintf(`[[input]]
name = "spindle"
port = %[1]q
baud = 19200
modbus = { address = 9, register = 3 }
debounce_ms = 0.0
[[input]]
name = "door"
port = %[1]q
baud = 19200
modbus = { address = 9, register = 4 }
[hours]
port = %[1]q
baud = 19200
modbus = { address = 9, function = 4, register = 16, type = "uint32", scale = "0.1 h" }
ask_every_s = 1.0
`, plugIn(t, peer.Port)))
	hours := func(want float64) func(*api.Snapshot) bool {
		return func(snap *api.Snapshot) bool {
			return snap.Hours != nil && snap.Hours.Hours != nil && math.Abs(*snap.Hours.Hours-want) < 1e-9
		}
	}
	d := s.daemon(t)
	waitState(t, s, "the hours", hours(1200))
	waitState(t, s, "the spindle off, the door not known", func(snap *api.Snapshot) bool {
		return len(snap.Inputs) == 2 && snap.Inputs[0].State == "off" && snap.Inputs[1].State == "unknown"
	})
	io.WriteString(in, "run 1\nhours 12001\n")
	waitState(t, s, "the spindle on", func(snap *api.Snapshot) bool { return snap.Inputs[0].State == "on" })
	text := get(t, "http://"+s.page+"/metrics")
	for _, want := range []string{`tramd_input_on{input="spindle",machine="linnet"} 1`,
		`tramd_spindle_run_seconds_total{machine="linnet"} 4.32e+06`,
		`tramd_input_known{input="door",machine="linnet"} 0`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in the metrics", want)
		}
	}
	if strings.Contains(text, `tramd_input_on{input="door"`) {
		t.Error("a door that is not known has a metric")
	}
	waitState(t, s, "both ports", live)
	sweep := program(t, "sweep", "--config", s.config, "--json")
	waitState(t, s, "the sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	if got := sweep.wait(); got != exitDone && got != exitOutside && got != exitUndecided {
		t.Fatalf("the sweep ended with %d: %s", got, sweep.err.String())
	}
	waitState(t, s, "the hours of the run", hours(1200.1)) // kept with it, not a minute later
	if run := get(t, "http://"+s.page+"/api/v1/runs/1"); !strings.Contains(run, `"spindle_hours":1200.1`) {
		t.Errorf("the run: %.300s", run)
	}
	if _, out, _ := call(t, "show", "1", "--config", s.config); !strings.Contains(out, ", at 1200.1 spindle hours") {
		t.Errorf("shown: %.200s", out)
	}
	d.kill()
	io.WriteString(in, "hours 12003\n")
	s.daemon(t)
	waitState(t, s, "at least what was shown", func(snap *api.Snapshot) bool {
		return snap.Hours != nil && snap.Hours.Hours != nil && *snap.Hours.Hours >= 1200.1
	})
	if status, _, errOut := call(t, "event", "hours", "900", "--config", s.config); status != exitDone {
		t.Fatal(errOut)
	}
	waitState(t, s, "the correction", func(snap *api.Snapshot) bool {
		return snap.Hours.Hours != nil && *snap.Hours.Hours < 901
	})
	io.WriteString(in, "mute\n")
	waitState(t, s, "not known any more", func(snap *api.Snapshot) bool {
		return snap.Inputs[0].State == "unknown"
	})
}

// A machine that begins to work while the arm is moved stops it; while it works, or is not known to rest, nothing is
// begun.
func TestTheArmStopsWhenTheMachineIsNoLongerIdle(t *testing.T) {
	t.Parallel()
	c := startController(t, "--speedup", "1", "--stands")
	value := filepath.Join(t.TempDir(), "value")
	say := func(text string) { // at once: a file cut short says nothing
		t.Helper()
		next := value + ".next"
		if err := os.WriteFile(next, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(next, value); err != nil {
			t.Fatal(err)
		}
	}
	s := c.shop(t, retracts+fmt.Sprintf(
		"[check]\nidle_input = \"rests\"\nidle_state = \"on\"\n[[input]]\nname = \"rests\"\nsource = \"file\"\nfile = %q\n", value))
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	for text, want := range map[string]string{"": "input rests is unknown", "0\n": "input rests is off"} {
		say(text)
		waitState(t, s, want, func(snap *api.Snapshot) bool {
			return strings.Contains("input rests is "+snap.Inputs[0].State, want)
		})
		p := programIn(t, "program", "--config", s.config)
		io.WriteString(p.in, "linnet\n")
		if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), "nothing is moved: "+want) ||
			len(c.commands(t)) != 0 {
			t.Errorf("status %d, it said %s, sent %q", got, p.err.String(), c.commands(t))
		}
	}
	say("1\n")
	waitState(t, s, "rest", func(snap *api.Snapshot) bool { return snap.Inputs[0].State == "on" })
	p := programIn(t, "program", "--config", s.config)
	io.WriteString(p.in, "linnet\n")
	waitState(t, s, "the first station", func(snap *api.Snapshot) bool { return snap.Sweep.Readings == 1 })
	say("0\n")
	if got := p.wait(); got != exitFailed ||
		!strings.Contains(p.err.String(), "input rests is off; not retracted: the machine may be in use") {
		t.Errorf("status %d, it said %s", got, p.err.String())
	}
	time.Sleep(300 * time.Millisecond)
	c.endsWithStop(t)
}
