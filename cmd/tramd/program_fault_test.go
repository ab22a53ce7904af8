package main

import (
	"bufio"
	"io"
	"net"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// A daemon that stood still has watched nothing: the first thing it sends is the stop command.
func TestAfterAFreezeNothingMoves(t *testing.T) {
	t.Parallel()
	c := startController(t, "--speedup", "1")
	s := c.shop(t)
	d := s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	p := programIn(t, "program", "--config", s.config)
	io.WriteString(p.in, "linnet\n")
	waitState(t, s, "the first station", func(snap *api.Snapshot) bool { return snap.Sweep.Readings == 1 })
	if err := d.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond) // what was under way is heard
	before := len(c.commands(t))
	time.Sleep(6 * time.Second) // the arm comes to the end of its move, and the acknowledgement waits
	if err := d.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	if got := p.wait(); got != exitFailed || !strings.Contains(p.err.String(), "this computer stood still for 6") {
		t.Errorf("status %d, it said %s", got, p.err.String())
	}
	if after := c.commands(t)[before:]; !slices.Equal(after, []string{"M0"}) {
		t.Errorf("after it woke it sent %q", after)
	}
}

// A controller that closed its side of the line may still hear: it gets the stop command.
func TestALineThatIsHalfClosedGetsTheStop(t *testing.T) {
	t.Parallel()
	c := startController(t) // for its indicator
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	heard := &shared{}
	over := make(chan struct{})
	go func() {
		defer close(over)
		line, err := l.Accept()
		if err != nil {
			return // the test has failed
		}
		defer line.Close()
		for lines := bufio.NewScanner(line); lines.Scan(); {
			_, _ = heard.Write(append(lines.Bytes(), '\n'))
			if strings.HasPrefix(lines.Text(), "G4") {
				_ = line.(*net.TCPConn).CloseWrite() // seen by what comes of it
				continue
			}
			_, _ = io.WriteString(line, "ok\r\n")
		}
	}()
	c.Paths.Controller = "tcp://" + l.Addr().String()
	s := c.shop(t)
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	p := programIn(t, "program", "--config", s.config)
	io.WriteString(p.in, "linnet\n")
	if got := p.wait(); got != exitFailed ||
		!strings.Contains(p.err.String(), "the stop command was sent, but nothing more can be heard") {
		t.Errorf("status %d, it said %s", got, p.err.String())
	}
	select {
	case <-over:
	case <-time.After(10 * time.Second):
		t.Fatal("the line was not closed")
	}
	if got := strings.Fields(strings.ReplaceAll(heard.String(), " ", "_")); len(got) != 5 || got[4] != "M0" {
		t.Errorf("the controller heard %q", got)
	}
}
