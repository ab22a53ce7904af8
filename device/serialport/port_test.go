package serialport

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/device/devicetest"
)

// Another process, which this test binary becomes when the variable is set.
func TestPortInUseByAnotherProcess(t *testing.T) {
	const who, dir = "DEVICE_TEST_HOLD_PORT", "DEVICE_TEST_LOCK_DIR"
	if path := os.Getenv(who); path != "" {
		if _, err := Open(path, 115200, Plain, os.Getenv(dir)); err != nil {
			fmt.Println("failed:", err)
			os.Exit(1)
		}
		fmt.Println("held")
		time.Sleep(time.Minute)
		os.Exit(1)
	}
	l := devicetest.Open(t)
	locks := t.TempDir()
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), who+"="+l.Path, dir+"="+locks)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // already dead when all went well
	word := make([]byte, 5)
	if _, err := out.Read(word); err != nil || string(word) != "held\n" {
		t.Fatalf("the other process said %q, %v", word, err)
	}
	_, err = Open(l.Path, 115200, Plain, locks)
	if want := fmt.Sprintf("in use by pid %d: stop that program", cmd.Process.Pid); err == nil ||
		!strings.Contains(err.Error(), want) {
		t.Errorf("open: %v; want %q", err, want)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // it was killed, and says so
	p, err := Open(l.Path, 115200, Plain, locks)
	if err != nil {
		t.Fatalf("open after the other was killed: %v", err)
	}
	p.Close()
}

// A program that ours starts has no descriptor of the port, or the port would stay open as long as that program runs.
func TestAProgramStartedWhileAPortIsOpenDoesNotHoldIt(t *testing.T) {
	l := devicetest.Open(t)
	p, err := Open(l.Path, 115200, Plain, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	node, err := filepath.EvalSymlinks(l.Path)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("ls", "-l", "/proc/self/fd")
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(out), "/dev/null") || strings.Contains(string(out), node+"\n") {
		t.Errorf("a child of ours has the port %s open:\n%s", node, out)
	}
}

func TestOpenErrors(t *testing.T) {
	dir := t.TempDir()
	plain := filepath.Join(dir, "plain")
	if err := os.WriteFile(plain, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(filepath.Join(dir, "none"), 115200, Plain, dir); !errors.Is(err, ErrAbsent) ||
		!strings.Contains(err.Error(), "/dev/serial/by-id") {
		t.Errorf("absent: %v", err)
	}
	if _, err := Open(plain, 115200, Plain, dir); err == nil || !strings.Contains(err.Error(), "not a serial port") {
		t.Errorf("plain file: %v", err)
	}
	for _, tc := range []struct {
		err  error
		want string
	}{
		{&os.PathError{Op: "open", Err: syscall.Errno(13)}, "dialout"},
		{&os.PathError{Op: "open", Err: syscall.Errno(1)}, "DeviceAllow"},
		{&os.PathError{Op: "open", Err: syscall.Errno(16)}, "in use by another program"},
		{&os.PathError{Op: "open", Err: syscall.Errno(6)}, "plug the adapter in"},
	} {
		if got := openError("/dev/ttyUSB0", tc.err).Error(); !strings.Contains(got, tc.want) {
			t.Errorf("%v: %q; want %q", tc.err, got, tc.want)
		}
	}
}
