package device

import (
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device/devicetest"
	"tramd/device/frame"
)

// plannedPort is a port of so many samples a second.
func plannedPort(rate int, leads bool, latency time.Duration) *polled {
	p := &polled{leads: leads, latency: new(atomic.Int64), pace: pacer{rate: rate}}
	p.latency.Store(int64(latency))
	p.anchorAt = Stamp(time.Hour)
	return p
}

func TestBatching(t *testing.T) {
	const ms = Stamp(time.Millisecond)
	slow := func() *polled { return plannedPort(50, false, 0) }
	arm := func() *polled { return plannedPort(1000, false, 0) }
	encoder := func() *polled { return plannedPort(1000, true, 0) }
	due := arm()
	due.anchorAt = 100 * ms
	exact := plannedPort(1000, false, 5*time.Millisecond)
	exact.exact = true
	ended := arm()
	ended.ended = true
	anchored, wordy := plannedPort(1000, false, 20*time.Millisecond), plannedPort(1000, false, 50*time.Millisecond)
	anchored.anchorAt = 100 * ms
	wordy.pace.bytes = 64 * gatherBytes
	for _, tc := range []struct {
		name   string
		ports  []*polled
		wait   Stamp
		waited string // 1: its bytes end the wait
	}{
		{"slow ports are waited for, for ever", []*polled{slow(), slow()}, -1, "11"},
		{"the encoder leads", []*polled{arm(), encoder(), arm()}, leadLost - ms, "010"},
		{"without an encoder the first indicator does", []*polled{arm(), arm()}, leadLost - ms, "10"},
		{"a slow encoder cannot lead, and is waited for", []*polled{arm(), plannedPort(50, true, 0)},
			leadLost - ms, "11"},
		{"nor one that would call too often", []*polled{plannedPort(2000, false, 0), plannedPort(7000, true, 0)},
			tickEvery - ms, "00"},
		{"one whose stamps want setting is waited for too", []*polled{due, encoder()}, leadLost - ms, "11"},
		{"with latency nobody is", []*polled{plannedPort(1000, false, 5*time.Millisecond),
			plannedPort(1000, true, 5*time.Millisecond)}, 4 * ms, "00"},
		{"a slow port beside them still is", []*polled{slow(), plannedPort(1000, true, 5*time.Millisecond)},
			4 * ms, "10"},
		{"one in a hurry hurries all", []*polled{arm(), plannedPort(1000, true, 5*time.Millisecond)},
			leadLost - ms, "01"},
		{"one that is recorded is waited for, latency or not",
			[]*polled{exact, plannedPort(1000, true, 5*time.Millisecond)}, 4 * ms, "10"},
		{"one whose stamps want setting is waited for only where nothing lies there yet", []*polled{anchored},
			19 * ms, "0"},
		{"where two lines come in the latency they are gathered",
			[]*polled{plannedPort(100, false, 20*time.Millisecond)}, 19 * ms, "0"},
		{"where one comes it is read at once", []*polled{plannedPort(90, false, 20*time.Millisecond)}, -1, "1"},
		{"many bytes do not wait long", []*polled{wordy}, Stamp(time.Second)/64 - ms, "0"},
		{"a port that has ended asks for nothing", []*polled{ended, slow()}, -1, "01"},
	} {
		r := batching{last: 99 * ms}
		wait := r.plan(tc.ports, 100*ms)
		waited := ""
		for _, p := range tc.ports {
			if p.waited && !p.ended {
				waited += "1"
			} else {
				waited += "0"
			}
		}
		if wait != tc.wait || waited != tc.waited {
			t.Errorf("%s: waits %v for %s, want %v for %s", tc.name, time.Duration(wait), waited,
				time.Duration(tc.wait), tc.waited)
		}
	}
	looked := batching{last: 100 * ms}
	if wait := looked.plan([]*polled{anchored}, 100*ms); wait != 20*ms || !anchored.waited {
		t.Errorf("a port was just read and its stamps want setting: it waits %v, for its line: %v", time.Duration(wait),
			anchored.waited)
	}
	late := batching{last: 10 * ms}
	if wait := late.plan([]*polled{encoder()}, 100*ms); wait != 0 {
		t.Errorf("the fast ports are overdue, and it waits %v", time.Duration(wait))
	}
}

func TestPacerForgetsAPortThatFellSilent(t *testing.T) {
	var p pacer
	at := Stamp(0)
	for range 300 {
		at += Stamp(time.Millisecond)
		p.count(at, 1, 8)
	}
	if !p.fast() || p.rate < 900 || p.rate > 1100 {
		t.Errorf("a thousand samples a second are counted as %d", p.rate)
	}
	for range 300 {
		at += Stamp(time.Millisecond)
		p.count(at, 0, 0)
	}
	if p.fast() {
		t.Errorf("silence is counted as %d samples a second", p.rate)
	}
}

// Several ports at once, fast and slow, led and not: every line of each arrives in order, at any latency, and a port
// that is unplugged or stopped takes nothing from the others.
func TestPortsReadTogether(t *testing.T) {
	const n = 7000 // in a second; the others are slower
	rates := []int{n, 1000, 50}
	var lines []*devicetest.Line
	var devices []*running
	for i := range rates {
		l := devicetest.Open(t)
		role := frame.RoleIndicator
		if i == 1 {
			role = frame.RoleAngle
		}
		d := start(t, Spec{Name: fmt.Sprint("port", i), Role: role, Port: l.Path, Baud: 921600,
			CountsPerTurn: int64(i%2) * 4096})
		d.wait(t, StateSettling)
		lines, devices = append(lines, l), append(devices, d)
	}
	silent := devicetest.Open(t)
	gone := start(t, Spec{Name: "gone", Port: silent.Path})
	gone.wait(t, StateSettling)
	done := make(chan error, len(rates))
	for i, rate := range rates {
		lines[i].Write([]byte("first\n"))
		go func() {
			done <- lines[i].Paced(rate*2, rate, func(dst []byte, k int) []byte {
				return fmt.Appendf(dst, "%03d\r\n", k%1000)
			})
		}()
	}
	time.Sleep(500 * time.Millisecond)
	for _, d := range devices {
		d.SetLatency(5 * time.Millisecond)
	}
	silent.Unplug()
	time.Sleep(500 * time.Millisecond)
	for _, d := range devices {
		d.SetLatency(0)
	}
	gone.stop()
	for range rates {
		if err := <-done; err != nil {
			t.Fatal(err)
		}
	}
	for i, d := range devices {
		want := uint64(rates[i] * 2)
		wait(t, fmt.Sprintf("%d readings of port %d", want, i), func() bool { return d.Status().Readings == want })
		last := Stamp(0)
		for k, s := range d.all() {
			value := int64(k % 1000)
			if i != 1 {
				value *= 1_000_000 // nanometres
			}
			if s.Value != value || s.At < last {
				t.Fatalf("port %d: sample %d is %+v, want %d after %d", i, k, s, value, last)
			}
			last = s.At
		}
	}
	// What is fast now is slow in a moment, and then a line alone is read at once.
	time.Sleep(300 * time.Millisecond)
	lines[0].Write([]byte("007\n"))
	wait(t, "a line after the stream", func() bool { return devices[0].Status().Readings == 2*n+1 })
}

// Bytes that may lie for long are read at once where somebody asks for them.
func TestReadNow(t *testing.T) {
	l := &poller{}
	l.readNow(time.Hour) // without a port there is nothing to wait for
	var ends [2]int
	if err := unix.Pipe2(ends[:], unix.O_NONBLOCK|unix.O_CLOEXEC); err != nil {
		t.Fatal(err)
	}
	defer unix.Close(ends[0])
	defer unix.Close(ends[1])
	got := make(chan string, 8)
	p := plannedPort(1000, false, time.Hour)
	p.pace.since = Now() + Stamp(time.Hour) // it stays as fast as it is said to be
	p.fd = ends[0]
	p.take = func(b []byte, _ frame.Arrival) int { got <- string(b); return 1 }
	if err := l.add(p); err != nil {
		t.Fatal(err)
	}
	defer l.remove(p)
	for range 100 {
		if _, err := unix.Write(ends[1], []byte("0.123\n")); err != nil {
			t.Fatal(err)
		}
		l.readNow(time.Minute)
		select {
		case <-got:
		default:
			t.Fatal("it returned before the port was read")
		}
	}
}

// A kernel that cannot wait for the ports is not asked without a pause, and what comes is still read.
func TestPortsAreReadWhereTheKernelCannotWait(t *testing.T) {
	var asked atomic.Int64
	l := &poller{waiter: func() (*waiter, error) {
		w, err := newWaiter()
		if err == nil {
			w.ctl = func(int, int, int, *unix.EpollEvent) error {
				asked.Add(1)
				return unix.ENOMEM
			}
		}
		return w, err
	}}
	var ends [2]int
	if err := unix.Pipe2(ends[:], unix.O_NONBLOCK|unix.O_CLOEXEC); err != nil {
		t.Fatal(err)
	}
	defer unix.Close(ends[0])
	got := make(chan string, 8)
	p := plannedPort(50, false, 0)
	p.fd = ends[0]
	p.take = func(b []byte, _ frame.Arrival) int { got <- string(b); return 1 }
	if err := l.add(p); err != nil {
		t.Fatal(err)
	}
	if _, err := unix.Write(ends[1], []byte("0.123\n")); err != nil {
		t.Fatal(err)
	}
	select {
	case text := <-got:
		if text != "0.123\n" {
			t.Errorf("read %q", text)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("nothing was read")
	}
	began, before := time.Now(), asked.Load()
	time.Sleep(300 * time.Millisecond)
	if n := asked.Load() - before; n > 2+time.Since(began).Milliseconds()/8 {
		t.Errorf("asked %d times in %v", n, time.Since(began))
	}
	unix.Close(ends[1])
	select {
	case <-p.lost:
	case <-time.After(5 * time.Second):
		t.Error("its end was not noticed")
	}
	l.remove(p)
}
