package serialport

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// LockDir is where serial locks live on Debian: writable for everyone, emptied at boot.
const LockDir = "/run/lock"

// portLock is a claim on a port, known to other processes by a locked file that holds our process id. The kernel drops
// it when we die, however we die.
type portLock struct{ file *os.File }

// lockPort claims a port by the real path of its node, so that two links to one adapter meet in one lock. Where the
// directory cannot be used (a service with a read-only file system) there is no lock file, and claimNode stands alone.
func lockPort(path, node, dir string) (*portLock, error) {
	name := filepath.Join(dir, "tramd-"+strings.ReplaceAll(strings.TrimPrefix(node, "/"), "/", "-")+".lock")
	// Opening without O_CREATE first: in a sticky directory the kernel refuses to "create" another user's file.
	f, err := os.OpenFile(name, os.O_RDWR|unix.O_NOFOLLOW, 0)
	if errors.Is(err, os.ErrNotExist) {
		f, err = os.OpenFile(name, os.O_RDWR|os.O_CREATE|unix.O_NOFOLLOW, 0o666)
		if err == nil {
			// Another user's daemon must be able to lock it too, whatever our umask. It fails only on a file that
			// someone else made in between, and then is not needed.
			_ = f.Chmod(0o666)
		}
	}
	if err != nil {
		return &portLock{}, nil
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		defer f.Close()
		if !errors.Is(err, unix.EWOULDBLOCK) {
			return &portLock{}, nil
		}
		text, _ := io.ReadAll(io.LimitReader(f, 20))
		pid, _ := strconv.Atoi(strings.TrimSpace(string(text)))
		return nil, inUse(path, pid)
	}
	if err := f.Truncate(0); err == nil {
		_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
	return &portLock{file: f}, nil
}

// release drops the claim. The file stays: removing it would let two processes lock two files of one name.
func (l *portLock) release() {
	if l.file != nil {
		l.file.Close()
		l.file = nil
	}
}

// claimNode locks the node itself as well, which also meets a process that uses another lock directory. It binds root,
// whom the kernel's exclusive mode does not.
func claimNode(fd int, path string) error {
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		return inUse(path, 0)
	}
	return nil // a file system without locks is no reason not to measure
}

func inUse(path string, pid int) error {
	by, cure := "another program", "stop that program (sudo fuser -v "+path+" names it)"
	switch {
	case pid == os.Getpid():
		by, cure = "this program", "two devices name the same port; give each its own"
	case pid > 0:
		by, cure = fmt.Sprintf("pid %d", pid),
			fmt.Sprintf("stop that program (ps -p %d names it), or give this device another port", pid)
	}
	return &OpenError{Kind: ErrInUse, Text: fmt.Sprintf("port %s is in use by %s: %s", path, by, cure)}
}
