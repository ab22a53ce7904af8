package daemon

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// holderOf says who listens at an address that is taken; "" where it cannot be seen. proc is where the kernel tells
// (proc(5)): every user's sockets stand in net/tcp and net/tcp6, but a process sees the owners of its own only.
func holderOf(proc, address string, err error) string {
	if !errors.Is(err, syscall.EADDRINUSE) {
		return ""
	}
	_, text, err := net.SplitHostPort(address)
	port, convErr := strconv.ParseUint(text, 10, 16)
	if err != nil || convErr != nil {
		return ""
	}
	for _, name := range []string{"net/tcp", "net/tcp6"} {
		table, err := os.ReadFile(filepath.Join(proc, name))
		if err != nil {
			continue
		}
		for row := range strings.Lines(string(table)) {
			f := strings.Fields(row) // sl local remote state queues timer retransmits uid timeout inode
			const listening = "0A"
			if len(f) < 10 || f[3] != listening || !strings.HasSuffix(f[1], fmt.Sprintf(":%04X", port)) {
				continue
			}
			if pid := processWith(proc, "socket:["+f[9]+"]"); pid != "" {
				return "in use by pid " + pid
			}
			return "in use by a program of the user with number " + f[7]
		}
	}
	return ""
}

// processWith returns the process that has a file open; "" where the kernel does not show it.
func processWith(proc, file string) string {
	fds, err := filepath.Glob(filepath.Join(proc, "[0-9]*", "fd", "*"))
	if err != nil {
		return ""
	}
	for _, fd := range fds {
		if to, err := os.Readlink(fd); err == nil && to == file {
			return filepath.Base(filepath.Dir(filepath.Dir(fd)))
		}
	}
	return ""
}

// peer says which process answers on a local socket; "" where it cannot be seen.
func peer(c net.Conn) string {
	u, ok := c.(*net.UnixConn)
	if !ok {
		return ""
	}
	raw, err := u.SyscallConn()
	if err != nil {
		return ""
	}
	var who *unix.Ucred
	if raw.Control(func(fd uintptr) {
		who, err = unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED)
	}) != nil || err != nil {
		return ""
	}
	return fmt.Sprintf(", pid %d,", who.Pid)
}
