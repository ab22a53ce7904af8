package device

import (
	"errors"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"tramd/device/frame"

	"golang.org/x/sys/unix"
)

// poller reads the open ports of the process, all of them on one goroutine that waits in ppoll. A wake-up costs far
// more than decoding what it brings, and a port that waits in the runtime's poller costs one for every line, gathered
// or not: the runtime is woken by each arrival whether anybody wants it yet. Here a wake-up reads every port that may
// have something, and bytes that may wait wake no goroutine. BenchmarkReadPath compares the ways.
type poller struct {
	mu    sync.Mutex
	ports []*polled
	wake  int // an eventfd that ends a wait; valid while there are ports

	ppoll func([]unix.PollFd, *unix.Timespec, *unix.Sigset_t) (int, error) // nil: the kernel's
}

// thePoller is one for the process: devices that know nothing of each other share its wake-ups. It runs while a port is
// open.
var thePoller poller

// polled is a port that is being read. What stands below the line belongs to the poller's goroutine.
type polled struct {
	fd      int
	exact   bool                                // waited for at every line: a capture holds when lines came, not when they were looked for
	leads   bool                                // others wait for what comes here; see batching
	latency *atomic.Int64                       // how long bytes may wait to be read, in nanoseconds
	take    func(p []byte, a frame.Arrival) int // decodes and passes on; says how many samples there were
	lost    chan error                          // gets the reason once, when the port has ended
	gone    chan struct{}                       // closed when it is read no more
	leaving atomic.Bool

	ended    bool
	pace     pacer
	waited   bool  // its bytes are to wake the poller
	looked   Stamp // when it was last seen to hold nothing
	anchorAt Stamp // when it is to be waited for again, for the sake of its stamps
}

// add begins to read a port.
func (l *poller) add(p *polled) error {
	p.lost, p.gone, p.looked = make(chan error, 1), make(chan struct{}), Now()
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.ports) == 0 {
		wake, err := unix.Eventfd(0, unix.EFD_NONBLOCK|unix.EFD_CLOEXEC)
		if err != nil {
			return err
		}
		l.wake = wake
		go l.run(wake)
	}
	l.ports = append(l.ports, p)
	l.wakeUp()
	return nil
}

// remove ends the reading of a port. When it returns nothing of the port is used any more.
func (l *poller) remove(p *polled) {
	l.mu.Lock()
	p.leaving.Store(true)
	l.wakeUp()
	l.mu.Unlock()
	<-p.gone
}

// wakeUp wakes the poller. A full counter cannot be: it is read at every wake-up.
func (l *poller) wakeUp() {
	_, _ = unix.Write(l.wake, []byte{1, 0, 0, 0, 0, 0, 0, 0})
}

// present lets go of the ports that leave and gives the others; none: the poller has ended.
func (l *poller) present(dst []*polled) []*polled {
	l.mu.Lock()
	defer l.mu.Unlock()
	var left []*polled
	l.ports = slices.DeleteFunc(l.ports, func(p *polled) bool {
		if p.leaving.Load() {
			left = append(left, p)
			return true
		}
		return false
	})
	if len(l.ports) == 0 {
		unix.Close(l.wake)
	}
	for _, p := range left {
		close(p.gone)
	}
	return append(dst[:0], l.ports...)
}

// yieldEvery bounds how long the poller goes without passing through the scheduler. A goroutine that runs longer than
// ten milliseconds by the scheduler's count is interrupted, and one that waits in system calls has its processor taken
// away and handed round, at twice the cost of the wait itself.
const yieldEvery = Stamp(4 * time.Millisecond)

func (l *poller) run(wake int) {
	var (
		ports    []*polled
		fds      []unix.PollFd
		buf      = make([]byte, readBuffer)
		batching batching
		yielded  Stamp
		now      = Now()
	)
	for {
		if ports = l.present(ports); len(ports) == 0 {
			return
		}
		fds = append(fds[:0], unix.PollFd{Fd: int32(wake), Events: unix.POLLIN})
		wait := batching.plan(ports, now)
		for _, p := range ports {
			fd := int32(p.fd)
			if !p.waited || p.ended {
				fd = -1 // which the kernel passes over
			}
			fds = append(fds, unix.PollFd{Fd: fd, Events: unix.POLLIN})
		}
		if now-yielded >= yieldEvery {
			runtime.Gosched()
			yielded = now
		}
		var timeout *unix.Timespec
		if wait >= 0 {
			ts := unix.NsecToTimespec(int64(wait))
			timeout = &ts
		}
		_, err := l.wait(fds, timeout)
		now = Now()
		switch {
		case errors.Is(err, unix.EINTR): // nothing is known of the ports; what came is found the next time round
			continue
		case err != nil:
			// The kernel has no memory, or too many are open. Waiting is not possible, reading is: look at each port
			// now and then.
			time.Sleep(unwaited)
			now = Now()
			for _, p := range ports {
				if !p.ended {
					p.read(buf, now, false)
				}
			}
			continue
		}
		if fds[0].Revents != 0 {
			_, _ = unix.Read(wake, buf[:8])
		}
		batching.woke(now)
		for i, p := range ports {
			called := fds[i+1].Revents != 0
			if !p.ended && (called || p.pace.fast() && !p.exact) {
				p.read(buf, now, called)
			}
		}
	}
}

// unwaited is how often ports are looked at while the kernel cannot wait for them.
const unwaited = 10 * time.Millisecond

func (l *poller) wait(fds []unix.PollFd, timeout *unix.Timespec) (int, error) {
	if l.ppoll != nil {
		return l.ppoll(fds, timeout, nil)
	}
	return unix.Ppoll(fds, timeout, nil)
}

// read takes what a port holds. called says that its bytes woke the poller.
func (p *polled) read(buf []byte, now Stamp, called bool) {
	n, err := unix.Read(p.fd, buf)
	switch {
	case errors.Is(err, unix.EINTR):
		return
	case errors.Is(err, unix.EAGAIN):
		p.pace.count(now, 0)
		p.looked = now
		return
	case err != nil || n <= 0: // a live line never reads as empty, so no bytes and no error is an end too
		p.ended = true
		p.lost <- err
		return
	}
	at := Now()
	got := p.take(buf[:n], frame.Arrival{From: p.looked, At: at, Prompt: called})
	p.pace.count(at, max(1, got)) // bytes that are no samples can come fast too
	if n < len(buf) {
		p.looked = at
	}
	if called {
		p.anchorAt = at + anchorEvery
	}
}
