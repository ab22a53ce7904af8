package daemon

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// What holds an address or a socket is named, so that it can be stopped: here the test itself, by IPv4 and by IPv6.
func TestWhoHoldsAnAddressIsNamed(t *testing.T) {
	want := fmt.Sprintf("pid %d", os.Getpid())
	for _, address := range []string{"127.0.0.1:0", ":0"} {
		l, err := net.Listen("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		if _, err = net.Listen("tcp", l.Addr().String()); err == nil {
			t.Fatal("it was given out twice")
		}
		if got := holderOf("/proc", l.Addr().String(), err); got != "in use by "+want {
			t.Errorf("%s: %q, want %q", l.Addr(), got, want)
		}
	}
	path := filepath.Join(t.TempDir(), "s")
	l, err := net.Listen("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := listenSocket(path); err == nil || !strings.Contains(err.Error(), "another daemon, "+want+", answers") {
		t.Errorf("%v", err)
	}

	// Another user's: the kernel shows the socket, not who has it.
	proc := t.TempDir()
	table := "  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode\n" +
		"   0: 0100007F:260F 00000000:0000 0A 00000000:00000000 00:00000000 00000000   998        0 77 1 0 100 0 0 10 0\n"
	if err := errors.Join(os.Mkdir(filepath.Join(proc, "net"), 0o700),
		os.WriteFile(filepath.Join(proc, "net/tcp"), []byte(table), 0o600)); err != nil {
		t.Fatal(err)
	}
	for address, want := range map[string]string{"127.0.0.1:9743": "in use by a program of the user with number 998",
		"127.0.0.1:9744": "", "nonsense": ""} {
		if got := holderOf(proc, address, syscall.EADDRINUSE); got != want {
			t.Errorf("%s: %q, want %q", address, got, want)
		}
	}
	if got := holderOf(proc, "127.0.0.1:9743", syscall.EACCES); got != "" {
		t.Errorf("of another error: %q", got)
	}
}
