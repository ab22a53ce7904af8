package device

import (
	"context"
	"errors"
	"os"

	"golang.org/x/sys/unix"

	"tramd/device/frame"
	"tramd/device/serialport"
)

// Conn is a port that is spoken with rather than read: each side waits for the other. It is set up, locked and
// opened as a Device's port is; who uses it reads and writes the bytes.
type Conn struct {
	*os.File
	port source
}

// OpenConn opens a port to be spoken with. Of the spec only the name and what belongs to the port matter.
func OpenConn(ctx context.Context, s Spec) (*Conn, error) {
	s.Role, s.Frame = frame.RoleTrigger, frame.FramePulse // any will do: no frame is cut here
	s, err := s.withDefaults()
	if err != nil {
		return nil, err
	}
	d := &Device{spec: s, lockDir: serialport.LockDir}
	port, err := d.open(ctx)
	if err != nil {
		return nil, err
	}
	// A descriptor of its own, watched by the runtime, so that a Close ends a Read and a Write can have a deadline.
	fd, err := unix.FcntlInt(uintptr(port.FD()), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return &Conn{os.NewFile(uintptr(fd), s.Port), port}, nil
}

// Close gives everything back.
func (c *Conn) Close() error { return errors.Join(c.File.Close(), c.port.Close()) }
