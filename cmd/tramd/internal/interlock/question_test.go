package interlock

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"tramd/cmd/tramd/internal/clock"
)

// controller is the far end of a line that answers each question as it is told.
func controller(t *testing.T, answer func(ask string) string) func(context.Context) (io.ReadWriteCloser, error) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	// Raw, as the daemon sets up a port.
	attr, err := unix.IoctlGetTermios(int(slave.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	attr.Lflag &^= unix.ECHO | unix.ICANON
	attr.Oflag &^= unix.OPOST
	attr.Iflag &^= unix.ICRNL
	if err := unix.IoctlSetTermios(int(slave.Fd()), unix.TCSETS, attr); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = errors.Join(master.Close(), slave.Close()) })
	go func() {
		lines := bufio.NewScanner(master)
		for lines.Scan() {
			_, _ = io.WriteString(master, answer(lines.Text()))
		}
	}()
	return func(context.Context) (io.ReadWriteCloser, error) {
		return os.OpenFile(slave.Name(), os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	}
}

func TestTheMachineIsAskedWhetherItIsIdle(t *testing.T) {
	for name, tc := range map[string]struct {
		answer, says string // says "" : idle
	}{
		"idle":                 {"state idle\r\n", ""},
		"after a greeting":     {"controller ready\r\nstate idle\n", ""},
		"running":              {"state run\r\n", `it answered "state run"`},
		"idle in another word": {"not state idle at all\n", `it answered "not state idle at all"`},
		"silent":               {"", "it does not answer"},
		"garbage":              {strings.Repeat("\x00\xff?", 200) + "\n", "it answered "},
	} {
		t.Run(name, func(t *testing.T) {
			asked := make(chan string, 1)
			q := &Question{Clock: clock.SinceBoot, Ask: "state\n", Answer: regexp.MustCompile(`^(?:state idle)$`),
				Within: 300 * time.Millisecond,
				Open:   controller(t, func(ask string) string { asked <- ask; return tc.answer })}
			if why := q.state(t.Context(), clock.SinceBoot()); why != "it has not answered yet" {
				t.Errorf("before it was asked: %q", why)
			}
			q.settle()
			if why := q.state(t.Context(), clock.SinceBoot()); !strings.HasPrefix(why, tc.says) ||
				(why == "") != (tc.says == "") {
				t.Errorf("got %q, want %q", why, tc.says)
			}
			if ask := <-asked; ask != "state" {
				t.Errorf("it was asked %q", ask)
			}
			// An answer grows old.
			if why := q.state(t.Context(), clock.SinceBoot()+time.Minute); why != "it has not answered yet" {
				t.Errorf("a minute later: %q", why)
			}
			q.settle()
		})
	}
	q := &Question{Clock: clock.SinceBoot, Open: func(context.Context) (io.ReadWriteCloser, error) {
		return nil, errors.New("no such port")
	}}
	q.state(t.Context(), clock.SinceBoot())
	q.settle()
	if why := q.state(t.Context(), clock.SinceBoot()); why != "no such port" {
		t.Errorf("got %q", why)
	}
}
