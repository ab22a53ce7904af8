package main

import (
	"strings"
	"syscall"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A watchdog's abort wrote 425 lines of goroutines. Now it says what hung, in a line, and sums the rest up in a few.
func TestAnAbortSaysWhatHungAndLittleElse(t *testing.T) {
	t.Parallel()
	m := startOther(t)
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	d := s.daemon(t)
	waitState(t, s, "both ports live", func(snap *api.Snapshot) bool { return live(snap) })
	before := strings.Count(d.err.String(), "\n")
	if err := d.cmd.Process.Signal(syscall.SIGABRT); err != nil {
		t.Fatal(err)
	}
	if got := d.wait(); got != exitAborted {
		t.Errorf("exit status %d", got)
	}
	text := d.err.String()
	if n := strings.Count(text, "\n") - before; n > mostStacks+4 ||
		!strings.Contains(text, "aborted by a signal (SIGABRT), though all its parts moved") {
		t.Errorf("%d lines: %s", n, text)
	}
	if !strings.Contains(text, "session.(*Session).Run") {
		t.Errorf("what the session does is not said: %s", text)
	}
}

func TestAnAbortOfAHungDaemonNamesThePart(t *testing.T) {
	t.Parallel()
	var l lastLook
	l.found(errHung("the session has not moved for 12 s"))
	if got := l.say(); got != "aborted by the watchdog: the session has not moved for 12 s" {
		t.Error(got)
	}
}

type errHung string

func (e errHung) Error() string { return string(e) }

func TestGoroutinesAreSummedUp(t *testing.T) {
	t.Parallel()
	stacks := "goroutine 1 [running]:\nmain.run(0x1)\n\t/x.go:1 +0x1\n\n" +
		strings.Repeat(
			"goroutine 7 [select, 2 minutes]:\nnet/http.(*conn).serve(0x2, {0x3})\n\t/y.go:2 +0x2\ncreated by net/http.Serve in goroutine 1\n\t/y.go:3\n\n", 30) +
		"goroutine 9 [sync.Mutex.Lock]:\nsync.(*Mutex).Lock(...)\n\t/z.go:3\ntramd/cmd/tramd/internal/session.(*Session).Sink(0x4)\n\t/z.go:4 +0x3\n"
	got := strings.Join(goroutines(stacks, 2), "\n")
	want :=
		"1 x running: main.run\n1 x sync.Mutex.Lock: sync.(*Mutex).Lock for tramd/cmd/tramd/internal/session.(*Session).Sink\nand 1 more kinds"
	if got != want {
		t.Errorf("%s", got)
	}
}
