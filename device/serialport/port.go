package serialport

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"syscall"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// Port is an open serial line. The library sets the line up and holds it exclusively; the bytes are read through
// our own descriptor by the poller, because the library's Read blocks in select, once for each line of each port.
type Port struct {
	fd   int
	line serial.Port
	lock *portLock
}

func (p *Port) FD() int { return p.fd }

// Close gives everything back at once. Keeping a descriptor of a vanished adapter open would make it come back under
// another name.
func (p *Port) Close() error {
	err := unix.Close(p.fd)
	if e := p.line.Close(); err == nil {
		err = e
	}
	p.lock.release()
	return err
}

// Open opens the port that path names at this moment; stable paths are links that move to a new node at every
// replug.
func Open(path string, baud int, mode Mode, lockDir string) (*Port, error) {
	node, err := filepath.EvalSymlinks(path)
	if err != nil {
		return nil, openError(path, err)
	}
	lock, err := lockPort(path, node, lockDir)
	if err != nil {
		return nil, err
	}
	// Our descriptor comes first: once the library has claimed the line, an unprivileged second open fails.
	fd, err := unix.Open(node, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		lock.release()
		return nil, openError(path, &os.PathError{Op: "open", Path: node, Err: err})
	}
	fail := func(err error) (*Port, error) {
		unix.Close(fd)
		lock.release()
		return nil, err
	}
	if err := claimNode(fd, path); err != nil {
		return fail(err)
	}
	// No InitialStatusBits: asking for modem lines fails on ports that have none.
	line, err := openLine(node, mode.with(baud))
	if err != nil {
		return fail(openError(path, err))
	}
	// Until raw mode the kernel edited the line and echoed it to the instrument; what it holds is not what was sent.
	if err := line.ResetInputBuffer(); err != nil {
		line.Close()
		return fail(fmt.Errorf("flush %s: %w", path, err))
	}
	return &Port{fd: fd, line: line, lock: lock}, nil
}

// openLine opens the library's own descriptors and keeps them out of every program that this one starts: the library
// does not, and a port would stay open as long as such a program runs. Kernels before 5.11 do not know how; there it
// stays as the library leaves it.
func openLine(node string, mode *serial.Mode) (serial.Port, error) {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	line, err := serial.Open(node, mode)
	_ = unix.CloseRange(3, math.MaxUint32, unix.CLOSE_RANGE_CLOEXEC)
	return line, err
}

// openError says in one sentence what is wrong with a port and what to do about it.
func openError(path string, err error) error {
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	gone := errors.Is(err, fs.ErrNotExist) || errors.Is(err, unix.ENXIO) || errors.Is(err, unix.ENODEV) ||
		errors.Is(err, unix.EIO)
	switch {
	case gone:
		return &OpenError{Kind: ErrAbsent, Text: fmt.Sprintf(
			"port %s is not there: plug the adapter in, or correct the path (ls -l /dev/serial/by-id shows what is plugged in)", path)}
	case errors.Is(err, unix.EACCES) || code == serial.PermissionDenied:
		return &OpenError{Kind: ErrPermission, Text: fmt.Sprintf(
			"no permission to open port %s: add the user to the dialout group (sudo usermod -aG dialout USER), then log in again or restart the service", path)}
	case errors.Is(err, unix.EPERM):
		return &OpenError{Kind: ErrPermission, Text: fmt.Sprintf(
			"the service may not open port %s: allow its kind of device in the unit (DeviceAllow=) and restart the service; the dialout group is needed too", path)}
	case errors.Is(err, unix.EBUSY) || code == serial.PortBusy:
		return inUse(path, 0)
	case code == serial.InvalidSerialPort:
		return fmt.Errorf("%s is not a serial port, or refuses its settings: check the path and the baud rate: %w",
			path, err)
	}
	return fmt.Errorf("open port %s: %w", path, err)
}
