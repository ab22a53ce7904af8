package device

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/device/devicetest"
	"tramd/device/frame"
	"tramd/device/serialport"
)

// kept collects what a sink was given.
type kept struct {
	mu sync.Mutex
	s  []Sample
}

func (k *kept) sink(b Batch) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.s = append(k.s, b.Samples...)
}

func (k *kept) all() []Sample {
	k.mu.Lock()
	defer k.mu.Unlock()
	return append([]Sample(nil), k.s...)
}

// syncBuffer is a log that may be read while it is written.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// running is a device that runs until the test ends.
type running struct {
	*Device
	kept
	log  syncBuffer
	stop func()
}

// start runs a device that takes every first line for a half one, however long a loaded machine takes to send it.
func start(t testing.TB, spec Spec) *running {
	t.Helper()
	return startQuiet(t, spec, time.Hour)
}

func startQuiet(t testing.TB, spec Spec, quiet time.Duration) *running {
	t.Helper()
	r := &running{}
	if spec.Name == "" {
		spec.Name = "arm"
	}
	if spec.Role == 0 {
		spec.Role = frame.RoleIndicator
	}
	d, err := New(3, spec, r.kept.sink, slog.New(slog.NewTextHandler(&r.log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	d.lockDir, d.quiet = t.TempDir(), quiet
	r.Device = d
	r.run(t)
	return r
}

func (r *running) run(t testing.TB) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx) }()
	r.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("Run: %v", err)
			}
		case <-time.After(2 * time.Second):
			t.Error("Run did not end within 2 s of its context")
		}
	})
	t.Cleanup(r.stop)
}

func wait(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited 10 s for %s", what)
		}
	}
}

func (r *running) wait(t testing.TB, s State) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); r.Status().State != s; time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited 20 s for state %s; it is %+v\n%s", s, r.Status(), r.log.String())
		}
	}
}

func TestPtyReadings(t *testing.T) {
	l := devicetest.Open(t)
	r := start(t, Spec{Port: l.Path})
	r.wait(t, StateSettling)
	before := r.Status().Since
	l.Write([]byte("9.999\r\narm 0.123 mm\r\n-0,0"))
	l.Write([]byte("05\r\nrubbish\n"))
	wait(t, "two readings", func() bool { return r.Status().Readings == 2 && r.Status().Faults["garbage"] == 1 })
	got := r.all()
	if got[0].Value != 123_000 || got[0].Channel != "arm" || got[1].Value != -5_000 {
		t.Errorf("got %v; want 0.123 mm of arm and -0.005 mm, without the first line", got)
	}
	if got[0].At < before || got[1].At < got[0].At || got[1].At > Now() {
		t.Errorf("stamps %d, %d do not lie in order between %d and now", got[0].At, got[1].At, before)
	}
	if st := r.Status(); st.State != StateLive || st.Err != "" || st.LastAt != got[1].At || st.Reconnects != 0 {
		t.Errorf("status %+v, want live without complaint", st)
	}
}

func TestFirstLineAfterSilenceIsKept(t *testing.T) {
	l := devicetest.Open(t)
	r := startQuiet(t, Spec{Port: l.Path}, quietStart)
	r.wait(t, StateSettling)
	time.Sleep(quietStart + 50*time.Millisecond)
	l.Write([]byte("0.5\n"))
	wait(t, "the reading", func() bool { return r.Status().Readings == 1 })
}

func TestUnplugAndReplug(t *testing.T) {
	s := devicetest.NewSocket(t)
	r := start(t, Spec{Port: s.Path})
	wait(t, "the complaint about the absent port", func() bool {
		st := r.Status()
		return st.State == StateAbsent && strings.Contains(st.Err, "plug the adapter in")
	})
	for round := range uint64(2) {
		l := s.Plug()
		r.wait(t, StateSettling)
		l.Write([]byte("half\n0.5\n0.6\n"))
		r.wait(t, StateLive)
		wait(t, "readings", func() bool { return r.Status().Readings == 2*(round+1) })
		s.Unplug(l)
		r.wait(t, StateAbsent)
	}
	if st := r.Status(); st.Reconnects != 1 {
		t.Errorf("%d reconnects, want 1", st.Reconnects)
	}
	time.Sleep(1500 * time.Millisecond) // at least one more poll
	r.stop()
	log := r.log.String()
	for state, want := range map[State]int{StateAbsent: 3, StateOpening: 2, StateSettling: 2, StateLive: 2,
		StateLost: 2} {
		if n := strings.Count(log, "device is "+string(state)); n != want {
			t.Errorf("%s was logged %d times, want %d, once a change:\n%s", state, n, want, log)
		}
	}
}

func TestPortInUse(t *testing.T) {
	l := devicetest.Open(t)
	first := start(t, Spec{Port: l.Path})
	first.wait(t, StateSettling)
	link := filepath.Join(t.TempDir(), "same")
	if err := os.Symlink(l.Path, link); err != nil {
		t.Fatal(err)
	}
	// The lock file tells who; without one (another directory) the node's own lock still holds.
	for dir, want := range map[string]string{first.lockDir: "in use by this program: two devices name the same port",
		t.TempDir(): "in use by another program"} {
		p, err := serialport.Open(link, 115200, serialport.Plain, dir)
		if p != nil {
			p.Close()
		}
		if !errors.Is(err, serialport.ErrInUse) || !strings.Contains(err.Error(), want) {
			t.Errorf("second open: %v; want %q", err, want)
		}
	}
	first.stop()
	p, err := serialport.Open(link, 115200, serialport.Plain, first.lockDir)
	if err != nil {
		t.Fatalf("open after the first let go: %v", err)
	}
	p.Close()
}

func TestGarbageAtFullSpeed(t *testing.T) {
	l := devicetest.Open(t)
	r := start(t, Spec{Port: l.Path, StaleAfter: 300 * time.Millisecond})
	r.wait(t, StateSettling)
	rnd := rand.New(rand.NewPCG(1, 2))
	block := make([]byte, 92) // 92,000 bytes a second: a line of 921,600 baud, full
	if err := l.Paced(500, 1000, func(dst []byte, _ int) []byte {
		for i := range block {
			block[i] = byte(rnd.Uint32()) | 0x80 // at a wrong rate the bits of a start of byte are seldom ASCII
		}
		block[len(block)-1] = '\n'
		return append(dst, block...)
	}); err != nil {
		t.Fatal(err)
	}
	wait(t, "all lines refused", func() bool { return r.Status().Faults["not_text"] == 499 })
	st := r.Status()
	if st.State != StateSettling || st.Readings != 0 || !strings.Contains(st.Err, "baud rate") {
		t.Errorf("status %+v; want settling, no readings and a word about the baud rate", st)
	}
	l.Write([]byte("0.25\n"))
	r.wait(t, StateLive)
}

func TestTCP(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	r := start(t, Spec{Port: "tcp://" + ln.Addr().String()})
	for round := range uint64(2) {
		c, err := ln.Accept()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := c.Write([]byte("2.345\n12.345\n")); err != nil {
			t.Fatal(err)
		}
		wait(t, "one reading", func() bool { return r.Status().Readings == round+1 })
		c.Close()
	}
	wait(t, "the reconnect", func() bool { return r.Status().Reconnects >= 1 })
	for _, s := range r.all() {
		if s.Value != 12_345_000 {
			t.Errorf("got %d, want 12.345 mm alone: the first line may be half of one", s.Value)
		}
	}
	ln.Close()
	wait(t, "the complaint", func() bool { return strings.Contains(r.Status().Err, "check that the bridge is on") })
}

func TestStopUnblocksAndGivesBackEverything(t *testing.T) {
	count := func() int {
		entries, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			t.Fatal(err)
		}
		return len(entries)
	}
	l := devicetest.Open(t)
	// The first descriptor use makes the runtime's poller, which stays.
	before := count()
	for range 20 {
		r := start(t, Spec{Port: l.Path})
		r.wait(t, StateSettling)
		begin := time.Now()
		r.stop()
		if took := time.Since(begin); took > time.Second {
			t.Errorf("stopping a silent port took %v", took)
		}
	}
	if after := count(); after > before {
		t.Errorf("%d descriptors before, %d after", before, after)
	}
}

func TestSpecErrors(t *testing.T) {
	good := Spec{Name: "arm", Role: frame.RoleIndicator, Port: "/dev/ttyUSB0", Frame: "text"}
	for _, tc := range []struct {
		change func(*Spec)
		want   string
	}{
		{func(s *Spec) { s.Name = "" }, `device has no name: give it one`},
		{func(s *Spec) { s.Role = 0 }, `device "arm": role 0 is not known: make it an indicator or an angle source`},
		{func(s *Spec) { s.Port = "" }, `device "arm": no port: write its path, as ls -l /dev/serial/by-id shows it`},
		{func(s *Spec) {
			s.Port = "udp://x:1"
		}, `device "arm": port "udp://x:1": only tcp://host:port, replay:FILE and paths are known`},
		{func(s *Spec) { s.Port = "tcp://x" }, `device "arm": port "tcp://x": write tcp://host:port`},
		{func(s *Spec) { s.Port = "replay:" }, `device "arm": port "replay:": write replay:FILE`},
		{func(s *Spec) { s.Port, s.Capture = "replay:a", "a" },
			`device "arm": capture "a" is the file being replayed: record to another`},
		{func(s *Spec) {
			s.Baud = 7
		},
			`device "arm": baud 7 is not a rate of a serial line: write one from 50 to 4000000, as the instrument's manual says`},
		{func(s *Spec) {
			s.Frame = "encoder"
		},
			`device "arm": frame "encoder" does not fit indicator: write frame = "text", or "pattern", "digits", "binary" or "modbus" with its table`},
		{func(s *Spec) {
			s.CountsPerTurn = 5
		}, `device "arm": counts_per_turn belongs to an encoder: remove it, or write frame = "encoder"`},
		{func(s *Spec) {
			s.CountsPerTurn = -5
		}, `device "arm": counts_per_turn is -5: write a positive count, or 0 when the encoder sends degrees`},
		{func(s *Spec) {
			s.StaleAfter = -1
		}, `device "arm": the time after which a reading is stale is negative: write a positive one`},
	} {
		s := good
		tc.change(&s)
		if _, err := New(0, s, func(Batch) {}, nil); err == nil || err.Error() != tc.want {
			t.Errorf("got  %v\nwant %s", err, tc.want)
		}
	}
	if _, err := New(0, good, nil, nil); err == nil {
		t.Error("a device without a sink was made")
	}
	d, err := New(0, good, func(Batch) {}, nil)
	if err != nil || d.Spec().Baud != 115200 || d.Spec().StaleAfter != 2*time.Second {
		t.Errorf("defaults: %+v, %v", d.Spec(), err)
	}
}
