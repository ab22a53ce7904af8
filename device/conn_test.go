package device

import (
	"bufio"
	"errors"
	"os"
	"testing"
	"time"

	"github.com/creack/pty"

	"tramd/device/serialport"
)

func TestAConnIsReadWrittenAndEndedByItsClose(t *testing.T) {
	far, near, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer far.Close()
	defer near.Close()
	d, err := OpenConn(t.Context(), Spec{Name: "motion", Port: near.Name()})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := OpenConn(t.Context(), Spec{Name: "other", Port: near.Name()}); !errors.Is(err, serialport.ErrInUse) {
		t.Errorf("opened twice: %v", err)
	}
	if err := d.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		t.Error(err)
	}
	if _, err := d.WriteString("G90\n"); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 16)
	if n, err := far.Read(buf); err != nil || string(buf[:n]) != "G90\n" {
		t.Errorf("the far end got %q %v", buf[:n], err)
	}
	if _, err := far.WriteString("ok\r\n"); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(d).ReadString('\n'); err != nil || line != "ok\r\n" {
		t.Errorf("heard %q %v", line, err)
	}
	ended := make(chan error)
	go func() { _, err := d.Read(buf); ended <- err }()
	time.Sleep(20 * time.Millisecond)
	if err := d.Close(); err != nil {
		t.Error(err)
	}
	select {
	case err := <-ended:
		if !errors.Is(err, os.ErrClosed) {
			t.Errorf("the read ended with %v", err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("Close did not end the read")
	}
	for _, bad := range []string{"", "/dev/serial/by-id/none", "ftp://x"} {
		if _, err := OpenConn(t.Context(), Spec{Name: "motion", Port: bad}); err == nil {
			t.Errorf("%q was opened", bad)
		}
	}
}
