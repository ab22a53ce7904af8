package device

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"time"

	"golang.org/x/sys/unix"

	"tramd/device/capture"
	"tramd/device/frame"
	"tramd/device/serialport"
)

// serveAlone reads a port that must be written to, or whose frames are proved by silence, until it is lost or ctx ends.
// Both need a clock of the port's own, so it is read apart from the others, by the runtime's poller. It reports whether
// readings came.
func (d *Device) serveAlone(ctx context.Context, src source) (lived bool) {
	defer src.Close()
	fd, err := unix.FcntlInt(uintptr(src.FD()), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		d.become(StateLost, "port "+d.spec.Port+" cannot be read ("+err.Error()+"): let the service open more files")
		return false
	}
	f := os.NewFile(uintptr(fd), d.spec.Port)
	closed := make(chan struct{})
	stop := context.AfterFunc(ctx, func() { f.Close(); close(closed) })
	defer func() {
		if stop() {
			f.Close()
		} else {
			<-closed
		}
	}()
	d.setAlone(f)
	defer d.setAlone(nil)
	r := reading{Device: d, opened: Now(), first: true}
	d.lastRead = r.opened
	if d.requests != nil { // what is asked for begins with its question
		r.first = false
		d.record(func(rec *capture.Recorder) error { return rec.Opened(r.opened, true) })
		d.dec.Opened(true, r.opened)
		d.requests.opened(r.opened)
	}
	buf := make([]byte, readBuffer)
	for {
		n := 0
		err := d.before(f)
		if err == nil {
			n, err = f.Read(buf)
		}
		at := Now()
		if n > 0 {
			r.take(buf[:n], frame.Arrival{From: d.lastRead, At: at, Prompt: true})
			d.lastRead = at
		}
		if ctx.Err() != nil {
			return r.lived
		}
		if n > 0 && d.requests != nil {
			d.requests.talked(at)
		}
		d.after(at)
		if errors.Is(err, os.ErrDeadlineExceeded) {
			continue
		}
		// A serial line never reads as empty, so no bytes and no error is an end too.
		if err != nil || n == 0 {
			d.release()
			d.record(func(rec *capture.Recorder) error { return rec.Lost(at, serialport.LossText(err)) })
			d.become(StateLost, "port "+d.spec.Port+" was lost ("+serialport.LossText(err)+
				"): check the cable; it is opened again by itself")
			return r.lived
		}
	}
}

func (d *Device) setAlone(f *os.File) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.alone, d.bounded = f, false
}

// Ask asks the instrument once, on a port that is asked on demand. It may be called from any goroutine; a demand that
// is not yet served is not doubled.
func (d *Device) Ask() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.wanted = true
	if d.alone != nil {
		d.bounded = true
		_ = d.alone.SetReadDeadline(time.Now()) // wakes the reader; a port that is gone needs no waking
	}
}

// before gets a port ready for the next read: it writes the question that is due, and bounds the read by whatever comes
// first, the end of a phase or of a framer's wait. A port that is not asked and whose framer holds nothing back is
// read without a bound, and costs nothing here.
func (d *Device) before(f *os.File) error {
	if d.requests == nil && d.holder == nil {
		return nil
	}
	if d.requests != nil {
		d.mu.Lock()
		wanted := d.wanted
		d.mu.Unlock()
		if d.requests.due(Now(), wanted) {
			if err := d.ask(f); err != nil {
				return err
			}
		}
	}
	until := never
	if d.holder != nil && d.holder.Holding() {
		until = d.lastRead + Stamp(d.holder.HoldsFor())
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if t := d.requests; t != nil && (t.phase != phaseIdle || !t.onDemand || d.wanted) {
		until = min(until, t.until)
	}
	if until == never {
		if !d.bounded {
			return nil
		}
		d.bounded = false
		return f.SetReadDeadline(time.Time{})
	}
	d.bounded = true
	return f.SetReadDeadline(origin.Add(time.Duration(until)))
}

func (d *Device) ask(f *os.File) error {
	t := d.requests
	request := t.next(Now())
	if err := f.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
		return err
	}
	d.record(func(r *capture.Recorder) error { return r.Asked(Now(), request) })
	if _, err := f.Write([]byte(request)); err != nil {
		return fmt.Errorf("cannot ask: %w", err)
	}
	t.sent(request, Now())
	if d.spec.Tap != nil {
		d.spec.Tap(t.at, []byte(request), true)
	}
	d.countAsked()
	return nil
}

func (d *Device) countAsked() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.wanted = d.wanted && d.requests.proofs > 0 // a proof is no reading
	d.status.Asked++
}

// after draws the consequences of a read, whether it brought something or ended with its bound.
func (d *Device) after(at Stamp) {
	if d.holder != nil && d.holder.Holding() && at-d.lastRead >= Stamp(d.holder.HoldsFor()) {
		d.release()
	}
	t := d.requests
	switch {
	case t == nil:
	case t.heard(at):
		why := ""
		if r, ok := t.framer.(frame.Refuser); ok {
			why = r.Refused()
		}
		d.mu.Lock()
		delete(d.mute, t.request)
		if why != "" {
			d.refused[t.request] = why
		} else {
			delete(d.refused, t.request)
		}
		d.status.Answered++
		d.status.AnswerDelay = time.Duration(at - t.at)
		d.mu.Unlock()
	default:
		faults := d.dec.FaultTotal()
		if t.late(at) {
			d.mu.Lock()
			d.mute[t.request]++
			d.wanted = false // with a proof still to be given
			d.mu.Unlock()
			d.deliver(nil, faults)
		}
	}
}

// release hands on what the framer held back.
func (d *Device) release() {
	if d.holder == nil || !d.holder.Holding() {
		return
	}
	faults := d.dec.FaultTotal()
	d.deliver(d.dec.Silence(d.holder, d.lastRead), faults)
}

// fewMisses is how many answers may be missing in a row before it is said.
const fewMisses = 3

// unanswered returns, by channel, why a question has no answer, and the first of these reasons; empty where all are
// answered. The caller holds the lock.
func (d *Device) unanswered() (byChannel map[string]string, first string) {
	say := func(request, why string) {
		if byChannel == nil {
			byChannel, first = map[string]string{}, why
		}
		byChannel[d.requests.framer.ChannelOf(request)] = why
	}
	for _, request := range slices.Sorted(maps.Keys(d.mute)) {
		if n := d.mute[request]; n >= fewMisses {
			say(request, fmt.Sprintf(
				"%s has not answered the last %d questions: check that it is on, its cable, the line (%d baud, %s) and what it is asked (%q)",
				d.whom(request), n, d.spec.Baud, d.spec.Line, request))
		}
	}
	for _, request := range slices.Sorted(maps.Keys(d.refused)) {
		say(request, fmt.Sprintf("%s answered that %s", d.whom(request), d.refused[request]))
	}
	return byChannel, first
}

func (d *Device) whom(request string) string {
	who := "the indicator"
	if d.spec.Role == frame.RoleMachine {
		who = "what is asked for"
	}
	if name := d.requests.framer.ChannelOf(request); name != "" {
		return who + " " + name
	}
	return who
}
