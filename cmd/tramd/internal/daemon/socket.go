package daemon

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"time"
)

// listenSocket makes the local socket. Who may use it is decided by the permissions of the file (owner and group) and
// of its folder. A socket left behind by a daemon that was killed is replaced; one that answers is not.
func listenSocket(path string) (net.Listener, error) {
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		return nil, fmt.Errorf("control socket %s: %w; make the folder, or write another control.socket", path, err)
	}
	if info, err := os.Lstat(path); err == nil {
		if info.Mode().Type() != fs.ModeSocket {
			return nil,
				fmt.Errorf(
					"control socket %s: a file that is no socket is in the way; move it, or write another control.socket", path)
		}
		if c, err := net.DialTimeout("unix", path, time.Second); err == nil {
			who := peer(c)
			_ = c.Close()
			return nil,
				fmt.Errorf(
					"control socket %s: another daemon%s answers there; stop it first, or write another control.socket",
					path, who)
		}
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("control socket %s: %w", path, err)
		}
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("control socket %s: %w", path, err)
	}
	if err := os.Chmod(path, 0o660); err != nil {
		return nil, errors.Join(fmt.Errorf("control socket %s: %w", path, err), l.Close())
	}
	return l, nil
}
