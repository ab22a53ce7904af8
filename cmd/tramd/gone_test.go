package main

import (
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A daemon that is killed in a sweep leaves a person at the terminal who wants to know what is left of it; one that is
// stopped in order says in its log how the sweep ended.
func TestADaemonThatGoesAwayInASweep(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		name   string
		signal syscall.Signal
	}{{"killed", syscall.SIGKILL}, {"stopped", syscall.SIGTERM}} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			m := startOther(t, "--rate", "100", "--encoder-rate", "100", "--turns", "100000", "--seconds", "1000000")
			s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
			d := s.daemon(t)
			waitState(t, s, "both ports live", live)
			sw := program(t, "sweep", "--config", s.config, "--turns", "50")
			waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
			m.turn(t)
			// The terminal, which may be behind the daemon, reports what it has seen stored: it has shown several
			// seconds' worth, of which all but the last second's is stored.
			waitState(t, s, "readings shown", func(*api.Snapshot) bool {
				return shownReadings(sw.err.String()) > 500
			})
			if err := d.cmd.Process.Signal(x.signal); err != nil {
				t.Fatal(err)
			}
			d.wait()
			if got := sw.wait(); got != exitFailed {
				t.Errorf("exit status %d", got)
			}
			said := sw.err.String()
			for _, want := range []string{"the daemon went away during run 1", "readings were on disk and are kept",
				"tramd show 1"} {
				if !strings.Contains(said, want) {
					t.Errorf("%q is not said: %s", want, said)
				}
			}
			if strings.Contains(said, "EOF") || strings.Contains(said, "At least 0 of") {
				t.Error(said)
			}
			if log := d.err.String(); x.signal == syscall.SIGTERM &&
				!(strings.Contains(log, "sweep ended") && strings.Contains(log, "the daemon was stopped")) {
				t.Errorf("the log has no end of the sweep: %s", log)
			}
		})
	}
}

// shownReadings returns how many readings a terminal's progress has last shown.
func shownReadings(said string) (n int) {
	found := readingsShown.FindAllStringSubmatch(said, -1)
	if len(found) > 0 {
		n, _ = strconv.Atoi(found[len(found)-1][1])
	}
	return n
}

var readingsShown = regexp.MustCompile(`(\d+) readings`)
