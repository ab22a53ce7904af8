package main

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/store"
)

// programOnTerminal runs tramd on a terminal of its own, as its session's leader: when the terminal goes, the kernel
// says so.
func programOnTerminal(t *testing.T, args ...string) (cmd *exec.Cmd, keys *os.File) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd = exec.Command(self, args...)
	cmd.Env = append(os.Environ(), "TRAMD_BE_THE_PROGRAM=1")
	if keys, err = pty.Start(cmd); err != nil {
		t.Fatal(err)
	}
	go func() { _, _ = io.Copy(io.Discard, keys) }() // ends with the terminal
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended already
		_ = cmd.Wait()         // it was killed, or has failed as it should
		_ = keys.Close()
	})
	return cmd, keys
}

// Nobody can stop the arm from a terminal that is gone, so the arm is stopped when it goes.
func TestATerminalThatGoesAwayStopsTheArm(t *testing.T) {
	for name, goAway := range map[string]func(p *os.Process, keys *os.File) error{
		"killed":             func(p *os.Process, _ *os.File) error { return p.Kill() },
		"told of a hang-up":  func(p *os.Process, _ *os.File) error { return p.Signal(syscall.SIGHUP) },
		"its window closed":  func(_ *os.Process, keys *os.File) error { return keys.Close() },
		"stopped, as Ctrl-Z": func(p *os.Process, _ *os.File) error { return p.Signal(syscall.SIGSTOP) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := startController(t, "--speedup", "1")
			s := c.shop(t)
			s.daemon(t)
			waitState(t, s, "the indicator", func(snap *api.Snapshot) bool {
				return snap.Devices[0].State == "live"
			})
			cmd, keys := programOnTerminal(t, "program", "--config", s.config)
			io.WriteString(keys, "linnet\n")
			waitState(t, s, "the first station", func(snap *api.Snapshot) bool { return snap.Sweep.Readings == 1 })
			gone := time.Now()
			if err := goAway(cmd.Process, keys); err != nil {
				t.Fatal(err)
			}
			c.endsWithStop(t)
			// The whole takes 12 s; a stop that came of something else would come later, or not say why.
			if d := time.Since(gone); d > 2*interlock.HoldFor+6*time.Second {
				t.Errorf("stopped after %v", d)
			}
			waitState(t, s, "the end", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseIdle })
			cl := client.New(s.socket)
			defer cl.Close()
			run, err := endedRun(t.Context(), cl, 1)
			if err != nil {
				t.Fatal(err)
			}
			if run.Outcome != store.Abandoned || !strings.Contains(run.Why, "terminal") &&
				!strings.Contains(run.Why, "given up") || run.Readings == 0 {
				t.Errorf("%+v", run)
			}
		})
	}
}
