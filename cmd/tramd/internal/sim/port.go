package sim

import (
	"errors"
	"fmt"
	"os"
	"sync"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// port is the far end of a serial line: a pseudo-terminal behind a symbolic link that stays the same when the port is
// unplugged and plugged in again, as the links by id of a real adapter do.
type port struct {
	link string

	mu      sync.Mutex
	master  *os.File // nil while unplugged
	rest    []byte   // of a line that went out only in part
	written uint64
	dropped uint64
}

func openPort(link string) (*port, error) {
	p := &port{link: link}
	return p, p.plug()
}

// plug opens a new pseudo-terminal and points the link at it.
func (p *port) plug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master != nil {
		return nil
	}
	master, slave, err := pty.Open()
	if err != nil {
		return fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	_, rawErr := term.MakeRaw(int(slave.Fd()))
	// The setting outlives this descriptor. With it closed, the master can tell whether anybody listens.
	if err = errors.Join(rawErr, slave.Close(), nonblocking(master), os.Symlink(slave.Name(), p.link)); err != nil {
		return errors.Join(fmt.Errorf("set up a pseudo-terminal: %w", err), master.Close())
	}
	p.master, p.rest = master, nil
	return nil
}

// unplug closes the line under its reader, and takes its link away.
func (p *port) unplug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master == nil {
		return nil
	}
	err := errors.Join(os.Remove(p.link), p.master.Close())
	p.master = nil
	return err
}

// send writes one line, or drops it when there is no reader, the reader has stalled or the port is unplugged. It never
// waits.
func (p *port) send(line []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master == nil || !p.heard() {
		p.rest = nil
		p.dropped++
		return
	}
	if len(p.rest) > 0 {
		n := write(p.master, p.rest)
		if p.rest = p.rest[n:]; len(p.rest) > 0 {
			p.dropped++
			return
		}
	}
	n := write(p.master, line)
	if n == 0 {
		p.dropped++
		return
	}
	p.rest = append(p.rest[:0], line[n:]...)
	p.written++
}

// heard tells whether the other end is open. A real port throws away what arrives before it is opened; a
// pseudo-terminal would keep it, and hand stale readings to the next one who opens it.
func (p *port) heard() (open bool) {
	control(p.master, func(fd int) {
		fds := []unix.PollFd{{Fd: int32(fd)}}
		_, err := unix.Poll(fds, 0)
		open = err == nil && fds[0].Revents&unix.POLLHUP == 0
	})
	return open
}

func (p *port) counts() (written, dropped uint64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.written, p.dropped
}

// write hands over as much as the line takes at once.
func write(f *os.File, b []byte) (n int) {
	control(f, func(fd int) {
		n, _ = unix.Write(fd, b) // EAGAIN: the reader has stalled; EIO: it has just gone. Either way nothing was taken.
	})
	return max(n, 0)
}

func nonblocking(f *os.File) (err error) {
	control(f, func(fd int) { err = unix.SetNonblock(fd, true) })
	return err
}

func control(f *os.File, do func(fd int)) {
	c, err := f.SyscallConn()
	if err != nil {
		return
	}
	_ = c.Control(func(fd uintptr) { do(int(fd)) }) // fails only on a closed file
}
