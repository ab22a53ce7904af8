package main

import (
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
)

// A real terminal, a real daemon that is killed and comes back.
func TestWatchOnATerminal(t *testing.T) {
	m := startOther(t, "--tilt", "0.3", "--nod", "-0.2", "--rate", "50", "--encoder-rate", "50", "--seconds", "600")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "watch", "--config", s.config)
	cmd.Env = append(os.Environ(), "TRAMD_BE_THE_PROGRAM=1")
	term, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 40, Cols: 80})
	if err != nil {
		t.Fatal(err)
	}
	defer term.Close()
	var seen shared
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := term.Read(buf)
			if err != nil {
				return
			}
			_, _ = seen.Write(buf[:n])
		}
	}()
	until := func(text string) {
		t.Helper()
		for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			if strings.Contains(seen.String(), text) {
				return
			}
		}
		t.Fatalf("never seen: %q in\n%q", text, seen.String())
	}
	until("arm          live")
	d.kill()
	until("STALE: the daemon has said nothing")
	if _, err := term.Write([]byte{3}); err != nil { // Ctrl-C
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("Ctrl-C ended it with %v", err)
	}
	until("\x1b[?25h")
}
