package input

import (
	"fmt"
	"strings"

	"golang.org/x/sys/unix"
)

// parseLevel reads what a file says: 0 or 1, as the kernel's files give it (Linux, Documentation/ABI, the value of a
// GPIO).
func parseLevel(text []byte) (bool, error) {
	switch strings.TrimSpace(string(text)) {
	case "0":
		return false, nil
	case "1":
		return true, nil
	}
	return false, fmt.Errorf("it says %.20q, not 0 or 1", text)
}

// readFile reads a level. The file is opened each time, so that one which is replaced, or comes back, is read too,
// and never waited for, whatever it is.
func readFile(path string) (bool, error) {
	fd, err := again(func() (int, error) {
		return unix.Open(path, unix.O_RDONLY|unix.O_NONBLOCK|unix.O_CLOEXEC|unix.O_NOCTTY, 0)
	})
	if err != nil {
		return false, fmt.Errorf("open %s: %w", path, err)
	}
	defer unix.Close(fd)
	var buf [64]byte
	n, err := again(func() (int, error) { return unix.Read(fd, buf[:]) })
	if err != nil {
		return false, fmt.Errorf("read %s: %w", path, err)
	}
	on, err := parseLevel(buf[:n])
	if err != nil {
		return false, fmt.Errorf("%s: %w", path, err)
	}
	return on, nil
}

// again does what a signal interrupted once more.
func again(do func() (int, error)) (int, error) {
	for {
		if n, err := do(); err != unix.EINTR {
			return n, err
		}
	}
}
