package clock

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// port returns a UDP port that is free.
func port(t *testing.T) int {
	t.Helper()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).Port
}

// chronyd runs the real one, which leaves the computer's clock alone (-x), and returns its monitoring and NTP
// addresses.
func chronyd(t *testing.T, lines string) (monitor, ntp string) {
	t.Helper()
	path, err := exec.LookPath("chronyd")
	if err != nil {
		if path, err = exec.LookPath("/usr/sbin/chronyd"); err != nil {
			t.Fatal("chronyd is missing: apt-get install chrony")
		}
	}
	dir := t.TempDir()
	monitorPort, ntpPort := port(t), port(t)
	file := filepath.Join(dir, "chrony.conf")
	text := fmt.Sprintf(
		"%s\nallow 127.0.0.1\nport %d\ncmdport %d\nbindcmdaddress 127.0.0.1\nbindcmdaddress /\npidfile %s\n",
		lines, ntpPort, monitorPort, filepath.Join(dir, "pid"))
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	cmd := exec.Command(path, "-x", "-n", "-U", "-f", file)
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()
		if t.Failed() {
			t.Logf("chronyd said:\n%s", said.String())
		}
	})
	return fmt.Sprintf("127.0.0.1:%d", monitorPort), fmt.Sprintf("127.0.0.1:%d", ntpPort)
}

// A real chronyd that follows another one has set the clock, and says so both by its monitoring and by NTP. One that
// has no source, and one that follows nothing but its own clock, have not.
func TestARealChronydSaysWhetherItSetTheClock(t *testing.T) {
	t.Parallel()
	own, ownNTP := chronyd(t, "local stratum 8")
	alone, aloneNTP := chronyd(t, "")
	_, sourcePort, _ := strings.Cut(ownNTP, ":")
	follows, followsNTP := chronyd(t, "server 127.0.0.1 port "+sourcePort+" iburst minpoll -2 maxpoll 0")
	end := time.Now().Add(time.Minute)
	for !chronySet(follows) {
		if time.Now().After(end) {
			t.Fatal("chronyd that follows a source is not seen to")
		}
		time.Sleep(100 * time.Millisecond)
	}
	if !ntpSet(followsNTP) {
		t.Error("asked by NTP, it is not seen to follow a source")
	}
	for what, addr := range map[string]string{"its own clock": own, "nothing": alone} {
		if chronySet(addr) {
			t.Errorf("chronyd that follows %s counts as set", what)
		}
	}
	for what, addr := range map[string]string{"its own clock": ownNTP, "nothing": aloneNTP} {
		if ntpSet(addr) {
			t.Errorf("chronyd that follows %s counts as set by NTP", what)
		}
	}
	k := &timekeepers{kernel: func() bool { return false }, chrony: follows, ntp: followsNTP, now: SinceBoot}
	if !k.isSet() {
		t.Error("the timekeepers does not see it")
	}
}

// A no is asked again after a while, a yes stands, and nobody who asks often makes a daemon busy.
func TestTheKeeperAsksNowAndThen(t *testing.T) {
	t.Parallel()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	t.Cleanup(func() { c.Close(); <-ended })
	asked := make(chan byte, 1) // the stratum to answer with
	go func() {
		defer close(ended)
		in := make([]byte, 100)
		for {
			n, from, err := c.ReadFrom(in)
			if err != nil {
				return
			}
			out := make([]byte, 48)
			out[0], out[1] = 4<<3|4, <-asked
			copy(out[24:32], in[:n][40:48])
			_, _ = c.WriteTo(out, from) // lost datagrams happen
		}
	}()
	now := time.Hour
	k := &timekeepers{kernel: func() bool { return false }, chrony: "127.0.0.1:1", ntp: c.LocalAddr().String(),
		now: func() time.Duration { return now }}
	look := func(want bool) {
		t.Helper()
		if got := k.isSet(); got != want {
			t.Errorf("at %v: %v", now, got)
		}
	}
	asked <- 0 // a stratum of 0: not set
	look(false)
	look(false) // not asked again
	now += askEvery
	asked <- 3
	look(true)
	now += 24 * time.Hour
	look(true) // not asked again
}

func FuzzTimeAnswers(f *testing.F) {
	f.Add(make([]byte, 48))
	f.Add(make([]byte, 104))
	f.Fuzz(func(t *testing.T, answer []byte) {
		if len(answer) > 1000 {
			return
		}
		c, err := net.ListenPacket("udp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		for _, ask := range []func(string) bool{chronySet, ntpSet} {
			go func() {
				in := make([]byte, 200)
				if _, from, err := c.ReadFrom(in); err == nil {
					_, _ = c.WriteTo(answer, from)
				}
			}()
			if ask(c.LocalAddr().String()) {
				t.Error("an answer to another question is taken")
			}
		}
	})
}
