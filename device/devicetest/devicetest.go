// Package devicetest plays the far end of a serial line for tests and benchmarks: pseudo-terminals that can be
// plugged, unplugged and written to at a pace. Everything it opens is closed when the test ends.
package devicetest

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
)

// Line is a pseudo-terminal: the test holds the instrument's end, the code under test opens Path.
type Line struct {
	Path string
	t    testing.TB
	far  *os.File
	once sync.Once
}

// Open makes a line.
func Open(t testing.TB) *Line {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		t.Fatalf("open a pseudo-terminal: %v (is /dev/pts mounted?)", err)
	}
	// A link, as a shop names its adapters: code that kept the number of a pseudo-terminal would open another test's
	// once the kernel gives that number away again.
	path := filepath.Join(t.TempDir(), filepath.Base(near.Name()))
	if err := errors.Join(os.Symlink(near.Name(), path), near.Close()); err != nil {
		t.Fatal(err)
	}
	l := &Line{Path: path, t: t, far: far}
	t.Cleanup(l.Unplug)
	return l
}

// Unplug takes the line away, as if the adapter were pulled. What was written and not yet read is lost.
func (l *Line) Unplug() { l.once.Do(func() { os.Remove(l.Path); l.far.Close() }) }

// Write sends bytes. It fails the test when they are not read for ten seconds.
func (l *Line) Write(p []byte) {
	l.t.Helper()
	if err := l.TryWrite(p); err != nil {
		l.t.Errorf("write to the pseudo-terminal: %v", err)
	}
}

// TryWrite sends bytes and reports what went wrong, for writers that outlive an unplug.
func (l *Line) TryWrite(p []byte) error {
	if err := l.far.SetWriteDeadline(time.Now().Add(10 * time.Second)); err != nil {
		return err
	}
	_, err := l.far.Write(p)
	return err
}

// Paced sends n frames at a pace; see Pace.
func (l *Line) Paced(n, perSecond int, frame func(dst []byte, i int) []byte) error {
	return Pace(l.TryWrite, n, perSecond, frame)
}

// Far is the instrument's end, for handing to another process. Afterwards TryWrite may block for good.
func (l *Line) Far() *os.File { return l.far }

// Pace calls frame(dst, i) for i from 0 to n-1, which appends frame i to dst, and writes at so many frames a second.
// It wakes at most once a millisecond, and writes what is due by then at once.
func Pace(write func([]byte) error, n, perSecond int, frame func(dst []byte, i int) []byte) error {
	start := time.Now()
	gap := time.Second / time.Duration(perSecond)
	var out []byte
	for i := 0; i < n; {
		now := time.Now()
		out = out[:0]
		for i < n && !start.Add(time.Duration(i)*gap).After(now) {
			out = frame(out, i)
			i++
		}
		if len(out) > 0 {
			if err := write(out); err != nil {
				return err
			}
		}
		if i < n {
			time.Sleep(max(time.Until(start.Add(time.Duration(i)*gap)), min(gap, time.Millisecond)))
		}
	}
	return nil
}

// Socket is a stable path that leads to whatever line is plugged in, as the links under /dev/serial do.
type Socket struct {
	Path string
	t    testing.TB
}

// NewSocket makes a socket with nothing plugged in.
func NewSocket(t testing.TB) *Socket {
	t.Helper()
	return &Socket{Path: filepath.Join(t.TempDir(), "usb-indicator-if00"), t: t}
}

// Plug makes a new line and links the socket to it.
func (s *Socket) Plug() *Line {
	s.t.Helper()
	l := Open(s.t)
	if err := os.Symlink(l.Path, s.Path); err != nil {
		s.t.Fatal(err)
	}
	return l
}

// Unplug takes the line and the link away.
func (s *Socket) Unplug(l *Line) {
	s.t.Helper()
	if err := os.Remove(s.Path); err != nil {
		s.t.Fatal(err)
	}
	l.Unplug()
}
