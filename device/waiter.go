package device

import (
	"errors"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// waiter waits for the ports of a poller. They lie in one epoll of the kernel, beside a timer and an event that ends a
// wait. A long wait is the runtime's: the goroutine is parked, and the runtime waits for the epoll. To wait in the
// kernel by ourselves would hold a processor of the scheduler, and the runtime's monitor looks up to a thousand times a
// second whether to take it away, which cost three times what reading does. A short wait is over before that and is
// made in the kernel, as parking costs more.
type waiter struct {
	epoll, event, timer int

	file   *os.File // the epoll, as the runtime knows it
	raw    syscall.RawConn
	look   func(uintptr) bool
	marks  map[int]uint32 // what is waited for, by descriptor
	timed  bool           // the timer runs
	events []unix.EpollEvent
	n      int // of events, after a look
	err    error

	ctl func(epoll, op, fd int, event *unix.EpollEvent) error
}

// shortWait is up to where the kernel is asked directly.
const shortWait = Stamp(3 * time.Millisecond)

func newWaiter() (*waiter, error) {
	w := &waiter{
		epoll: -1, event: -1, timer: -1,
		marks: map[int]uint32{}, events: make([]unix.EpollEvent, 8), ctl: unix.EpollCtl,
	}
	var err error
	if w.epoll, err = unix.EpollCreate1(unix.EPOLL_CLOEXEC); err == nil {
		err = unix.SetNonblock(w.epoll, true) // which has the runtime wait for it
	}
	if err == nil {
		w.event, err = unix.Eventfd(0, unix.EFD_NONBLOCK|unix.EFD_CLOEXEC)
	}
	if err == nil {
		w.timer, err = unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	}
	for _, fd := range [2]int{w.event, w.timer} {
		if err == nil {
			err = unix.EpollCtl(w.epoll, unix.EPOLL_CTL_ADD, fd, &unix.EpollEvent{Events: unix.EPOLLIN, Fd: int32(fd)})
		}
	}
	if err != nil {
		w.close()
		return nil, err
	}
	w.file = os.NewFile(uintptr(w.epoll), "ports")
	if w.raw, err = w.file.SyscallConn(); err != nil {
		w.close()
		return nil, err
	}
	w.look = func(uintptr) bool {
		w.ask(0)
		return w.n > 0 || w.err != nil
	}
	return w, nil
}

func (w *waiter) close() {
	if w.file != nil {
		w.file.Close()
		w.epoll = -1
	}
	for _, fd := range [3]int{w.epoll, w.event, w.timer} {
		if fd >= 0 {
			unix.Close(fd)
		}
	}
}

// wakeUp ends the wait, or the next one. It may be called from any goroutine. A full counter cannot be: it is read
// after every wake-up.
func (w *waiter) wakeUp() {
	_, _ = unix.Write(w.event, []byte{1, 0, 0, 0, 0, 0, 0, 0})
}

// mark says whether what comes at a descriptor ends a wait.
func (w *waiter) mark(fd int, waited bool) error {
	var events uint32 // its end is always heard
	if waited {
		events = unix.EPOLLIN
	}
	was, known := w.marks[fd]
	if known && was == events {
		return nil
	}
	op := unix.EPOLL_CTL_ADD
	if known {
		op = unix.EPOLL_CTL_MOD
	}
	if err := w.ctl(w.epoll, op, fd, &unix.EpollEvent{Events: events, Fd: int32(fd)}); err != nil {
		return err
	}
	w.marks[fd] = events
	return nil
}

// forget is to be called before a descriptor is closed.
func (w *waiter) forget(fd int) {
	if _, known := w.marks[fd]; known {
		_ = w.ctl(w.epoll, unix.EPOLL_CTL_DEL, fd, nil)
		delete(w.marks, fd)
	}
}

// wait waits until a marked port has something, somebody calls wakeUp, or the time is over; below 0: for ever. woken
// says that wakeUp was called.
func (w *waiter) wait(atMost Stamp) (woken bool, err error) {
	w.n, w.err = 0, nil
	switch {
	case atMost == 0:
		w.ask(0)
	case atMost > 0 && atMost <= shortWait:
		w.ask(int((atMost + Stamp(time.Millisecond) - 1) / Stamp(time.Millisecond)))
	default:
		if err := w.setTimer(atMost); err != nil {
			return false, err
		}
		if err := w.raw.Read(w.look); err != nil {
			return false, err
		}
	}
	for _, e := range w.events[:w.n] {
		if e.Fd == int32(w.event) {
			var count [8]byte
			_, _ = unix.Read(w.event, count[:])
			woken = true
		}
	}
	return woken, w.err
}

// called reports whether a port ended the last wait.
func (w *waiter) called(fd int) bool {
	for _, e := range w.events[:w.n] {
		if e.Fd == int32(fd) {
			return true
		}
	}
	return false
}

// ask asks the kernel, with a bound in milliseconds.
func (w *waiter) ask(ms int) {
	if len(w.events) < len(w.marks)+2 {
		w.events = make([]unix.EpollEvent, 2*len(w.marks)+2)
	}
	w.n, w.err = unix.EpollWait(w.epoll, w.events, ms)
	if errors.Is(w.err, unix.EINTR) {
		w.n, w.err = 0, nil
	}
	w.n = max(w.n, 0)
}

// setTimer has the timer end the wait. One that has run out is silent once it is set again.
func (w *waiter) setTimer(atMost Stamp) error {
	var at unix.ItimerSpec
	if atMost >= 0 {
		at.Value = unix.NsecToTimespec(int64(max(atMost, 1)))
	} else if !w.timed {
		return nil
	}
	w.timed = atMost >= 0
	return unix.TimerfdSettime(w.timer, 0, &at, nil)
}
