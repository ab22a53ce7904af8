package device

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device/serialport"
)

// source is an open port.
type source interface {
	FD() int // does not block
	Close() error
}

// socket is a connection that the runtime no longer watches.
type socket int

func (s socket) FD() int      { return int(s) }
func (s socket) Close() error { return unix.Close(int(s)) }

// open opens whatever the spec's port names.
func (d *Device) open(ctx context.Context) (source, error) {
	if addr, ok := strings.CutPrefix(d.spec.Port, tcpScheme); ok {
		return openTCP(ctx, addr)
	}
	p, err := serialport.Open(d.spec.Port, d.spec.Baud, d.spec.mode, d.lockDir)
	if err != nil {
		return nil, err // never a nil *serialport.Port inside a source
	}
	return p, nil
}

// openTCP joins a bridge from serial to TCP. A bridge that lost its power says nothing more, so the kernel asks after
// it: ten seconds of silence from its side end the connection.
func openTCP(ctx context.Context, addr string) (source, error) {
	dialer := net.Dialer{
		Timeout:         5 * time.Second,
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 4 * time.Second, Interval: 2 * time.Second, Count: 3},
	}
	c, err := dialer.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, &serialport.OpenError{Kind: serialport.ErrAbsent, Text: fmt.Sprintf(
			"cannot reach tcp://%s: check that the bridge is on and the address is right: %v", addr, err)}
	}
	defer c.Close()
	// The descriptor is taken over, with all that was set on it, or each packet would wake the runtime's poller besides
	// ours.
	raw, err := c.(*net.TCPConn).SyscallConn()
	if err != nil {
		return nil, fmt.Errorf("tcp://%s: %w", addr, err)
	}
	var fd int
	var dupErr error
	if err := raw.Control(func(own uintptr) { fd, dupErr = unix.FcntlInt(own, unix.F_DUPFD_CLOEXEC, 0) }); err != nil ||
		dupErr != nil {
		return nil, fmt.Errorf("tcp://%s: %w", addr, errors.Join(err, dupErr))
	}
	return socket(fd), nil
}
