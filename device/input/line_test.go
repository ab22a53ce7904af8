package input

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device/devicetest"
	"tramd/device/serialport"
)

func run(t *testing.T, l *Line) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); l.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		select {
		case <-done:
		case <-time.After(10 * time.Second):
			t.Error("the line does not end")
		}
	})
}

func wait(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !ok(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestALineFromAFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "value")
	l, err := New(Spec{Name: "spindle", Source: SourceFile, File: path, ActiveLow: true, Every: 2 * time.Millisecond,
		Debounce: 5 * time.Millisecond}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if s := l.Status(); s.State != Unknown || s.Err != "" {
		t.Errorf("before anything was read: %+v", s)
	}
	run(t, l)
	wait(t, "the complaint", func() bool { return strings.Contains(l.Status().Err, "no such file") })
	write(t, path, "0\n")
	wait(t, "on", func() bool { return l.State() == On && l.Status().Err == "" && l.OnFor() > 0 })
	write(t, path, "1\n")
	wait(t, "off", func() bool { return l.State() == Off })
	write(t, path, "high\n")
	wait(t, "unknown", func() bool { return l.State() == Unknown && strings.Contains(l.Status().Err, `says "high`) })
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	wait(t, "unknown", func() bool { return l.State() == Unknown && strings.Contains(l.Status().Err, "no such file") })
	// What nobody writes to would hold up a reader for ever.
	if err := unix.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	wait(t, "a pipe that says nothing", func() bool { return strings.Contains(l.Status().Err, `says ""`) })
}

// made is an adapter with modem lines, which a pseudo-terminal has not.
type made struct {
	mu     sync.Mutex
	now    serialport.Signals
	err    error
	opens  int
	closed int
}

func (m *made) set(s serialport.Signals, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.now, m.err = s, err
}

func (m *made) Signals() (serialport.Signals, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.now, m.err
}
func (m *made) Close() error { m.mu.Lock(); defer m.mu.Unlock(); m.closed++; return nil }

func TestALineFromAModemLine(t *testing.T) {
	t.Parallel()
	m := &made{}
	l, err := New(Spec{Name: "spindle", Source: SourceModem, Port: "/dev/x", Signal: "DSR",
		Every: 2 * time.Millisecond}, nil)
	if err != nil {
		t.Fatal(err)
	}
	l.modem = func(string) (modem, error) { m.mu.Lock(); defer m.mu.Unlock(); m.opens++; return m, nil }
	m.set(serialport.Signals{CTS: true, DCD: true, RI: true}, nil)
	run(t, l)
	wait(t, "off", func() bool { return l.State() == Off })
	m.set(serialport.Signals{DSR: true}, nil)
	wait(t, "on", func() bool { return l.State() == On })
	m.set(serialport.Signals{DSR: true}, errors.New("input/output error"))
	wait(t, "unknown", func() bool { return l.State() == Unknown && l.Status().Err != "" })
	m.set(serialport.Signals{DSR: true}, nil)
	wait(t, "on again, by a port that was opened again", func() bool { return l.State() == On })
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.opens < 2 || m.closed != m.opens-1 {
		t.Errorf("opened %d times, closed %d times", m.opens, m.closed)
	}
}

// A real port without modem lines, and one that goes away, are said and are unknown.
func TestAPortWithoutModemLines(t *testing.T) {
	t.Parallel()
	port := devicetest.Open(t)
	l, err := New(Spec{Name: "spindle", Source: SourceModem, Port: port.Path, Signal: "CTS"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	run(t, l)
	wait(t, "the complaint", func() bool { return strings.Contains(l.Status().Err, "does not tell its modem lines") })
	port.Unplug()
	wait(t, "the other", func() bool { return strings.Contains(l.Status().Err, "is not there") })
	if l.State() != Unknown {
		t.Error(l.State())
	}
}

func TestMistakesInALine(t *testing.T) {
	for want, s := range map[string]Spec{
		"has no name":               {Source: SourceModbus},
		`source ""`:                 {Name: "x"},
		"write the whole path":      {Name: "x", Source: SourceFile, File: "value"},
		"no port":                   {Name: "x", Source: SourceModem, Signal: "CTS"},
		`signal "DTR"`:              {Name: "x", Source: SourceModem, Port: "/dev/x", Signal: "DTR"},
		"below zero":                {Name: "x", Source: SourceModbus, Debounce: -1},
		"write twice as long":       {Name: "x", Source: SourceModbus, Every: time.Second, Stale: time.Second},
		"a time below zero: write ": {Name: "x", Source: SourceModbus, Stale: -1},
	} {
		if _, err := New(s, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", s, err, want)
		}
	}
}

func FuzzLevel(f *testing.F) {
	for _, s := range []string{"0\n", "1\n", "1", "", "10", "0x1", " 1 ", "\x00"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, p []byte) {
		on, err := parseLevel(p)
		text := strings.TrimSpace(string(p))
		if (err == nil) != (text == "0" || text == "1") || on && text != "1" {
			t.Fatalf("%q: %v, %v", p, on, err)
		}
	})
}
