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

// poller reads the open ports of the process, all of them on one goroutine. A wake-up costs far more than decoding what
// it brings, and a port that waits in the runtime's poller costs one for every line, gathered or not: the runtime is
// woken by each arrival, wanted yet or not. Here a wake-up reads every port that may have something, and bytes that may
// wait wake no goroutine. BenchmarkReadPath compares the ways.
type poller struct {
	mu    sync.Mutex
	ports []*polled
	w     *waiter         // nil: there are no ports
	asked []chan struct{} // closed once every port has been read

	waiter func() (*waiter, error) // nil: newWaiter
}

// thePoller is one for the process: devices that know nothing of each other share its wake-ups. It runs while a port is
// open.
var thePoller poller

// polled is a port that is being read. What stands below the line belongs to the poller's goroutine.
type polled struct {
	fd int
	// waited for at every line: a capture holds when lines came, not when they were looked for
	exact   bool
	leads   bool                                // others wait for what comes here; see batching
	latency *atomic.Int64                       // how long bytes may wait to be read, in nanoseconds
	take    func(p []byte, a frame.Arrival) int // decodes and passes on; says how many samples there were
	lost    chan error                          // gets the reason once, when the port has ended
	gone    chan struct{}                       // closed when it is read no more
	leaving atomic.Bool

	ended    bool
	pace     pacer
	waited   bool  // its bytes are to wake the poller
	along    bool  // it is read whenever the poller wakes
	looked   Stamp // when it was last seen to hold nothing
	anchorAt Stamp // when it is to be waited for again, for the sake of its stamps
}

// add begins to read a port.
func (l *poller) add(p *polled) error {
	p.lost, p.gone, p.looked = make(chan error, 1), make(chan struct{}), Now()
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.ports) == 0 {
		begin := newWaiter
		if l.waiter != nil {
			begin = l.waiter
		}
		w, err := begin()
		if err != nil {
			return err
		}
		l.w = w
		go l.run(w)
	}
	l.ports = append(l.ports, p)
	l.w.wakeUp()
	return nil
}

// remove ends the reading of a port. When it returns nothing of the port is used any more.
func (l *poller) remove(p *polled) {
	l.mu.Lock()
	p.leaving.Store(true)
	l.w.wakeUp()
	l.mu.Unlock()
	<-p.gone
}

// hurry ends a wait that was begun with longer latencies.
func (l *poller) hurry() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.w != nil {
		l.w.wakeUp()
	}
}

// readNow has every port read, and waits until that is done or the time is over.
func (l *poller) readNow(atMost time.Duration) {
	l.mu.Lock()
	if l.w == nil {
		l.mu.Unlock()
		return
	}
	done := make(chan struct{})
	l.asked = append(l.asked, done)
	l.w.wakeUp()
	l.mu.Unlock()
	bound := time.NewTimer(atMost)
	defer bound.Stop()
	select {
	case <-done:
	case <-bound.C:
	}
}

// answers returns those who wait until every port has been read.
func (l *poller) answers() []chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	asked := l.asked
	l.asked = nil
	return asked
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
	for _, p := range left {
		l.w.forget(p.fd)
	}
	if len(l.ports) == 0 {
		l.w.close()
		l.w = nil
		for _, done := range l.asked {
			close(done)
		}
		l.asked = nil
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

func (l *poller) run(w *waiter) {
	var (
		ports    []*polled
		buf      = make([]byte, readBuffer)
		batching batching
		yielded  Stamp
		now      = Now()
	)
	for {
		if ports = l.present(ports); len(ports) == 0 {
			return
		}
		wait := batching.plan(ports, now)
		blind := false
		for _, p := range ports {
			switch {
			case p.ended:
				w.forget(p.fd)
			case w.mark(p.fd, p.waited) != nil:
				blind, p.along = true, true
			}
		}
		if blind && (wait < 0 || wait > unwaited) {
			wait = unwaited
		}
		switch {
		case wait < 0 || wait > shortWait: // it is parked
			yielded = now
		case now-yielded >= yieldEvery:
			runtime.Gosched()
			yielded = now
		}
		until, looked := now+wait, batching.last
		woken, err := w.wait(wait)
		if err != nil {
			time.Sleep(time.Duration(unwaited))
			woken = true
		}
		now = Now()
		gather, late := batching.gathers, false
		if wait >= 0 { // whatever the wait took beyond its end, it was not the instruments that were late
			gather, late = max(gather, now-looked), now > until+overslept
		}
		var asked []chan struct{}
		if woken {
			asked = l.answers()
		}
		batching.woke(now)
		for _, p := range ports {
			called := w.called(p.fd)
			if !p.ended && (called || p.along || err != nil) {
				p.read(buf, now, frame.Arrival{Prompt: called && p.waited && !late, Gather: gather})
			}
		}
		for _, done := range asked {
			close(done)
		}
	}
}

// overslept is how long after its end a wait ends where the processor was another's: what lies at the ports then says
// nothing of when it came.
const overslept = Stamp(500 * time.Microsecond)

// unwaited is how often ports are looked at where the kernel cannot wait for them: it has no memory, or too many are
// open.
const unwaited = Stamp(10 * time.Millisecond)

// read takes what a port holds, which arrived in the given manner.
func (p *polled) read(buf []byte, now Stamp, a frame.Arrival) {
	n, err := unix.Read(p.fd, buf)
	switch {
	case errors.Is(err, unix.EINTR):
		return
	case errors.Is(err, unix.EAGAIN):
		p.pace.count(now, 0, 0)
		p.looked = now
		return
	case err != nil || n <= 0: // a live line never reads as empty, so no bytes and no error is an end too
		p.ended = true
		p.lost <- err
		return
	}
	a.From, a.At = p.looked, Now()
	got := p.take(buf[:n], a)
	p.pace.count(a.At, max(1, got), n) // bytes that are no samples can come fast too
	if n < len(buf) {
		p.looked = a.At
	}
	switch {
	case a.Prompt && p.latency.Load() > 0:
		p.anchorAt = a.At + anchorSeldom
	case a.Prompt:
		p.anchorAt = a.At + anchorEvery
	}
}
