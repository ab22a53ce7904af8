package device

import (
	"context"
	"time"

	"tramd/device/capture"
	"tramd/device/frame"
	"tramd/device/serialport"
)

const (
	// quietStart is the silence after an open that proves that the next byte begins a line. A stalled network may hold
	// half a line back for a few hundred milliseconds; half a second is beyond that and short for a person.
	quietStart = 500 * time.Millisecond
	readBuffer = capture.MaxRead
)

// serve has an open port read until it is lost or ctx ends, then closes it. It reports whether readings came.
func (d *Device) serve(ctx context.Context, src source) (lived bool) {
	if d.requests != nil || d.holder != nil {
		return d.serveAlone(ctx, src)
	}
	r := reading{Device: d, opened: Now(), first: true}
	p := &polled{fd: src.FD(), exact: d.rec != nil, leads: d.spec.Role == frame.RoleAngle ||
		d.spec.Role == frame.RolePosition, latency: &d.latency, take: r.take}
	if err := thePoller.add(p); err != nil {
		src.Close()
		d.become(StateLost, "port "+d.spec.Port+" cannot be read ("+err.Error()+"): let the service open more files")
		return false
	}
	var err error
	lost := false
	select {
	case <-ctx.Done():
	case err = <-p.lost:
		lost = true
	}
	thePoller.remove(p)
	src.Close() // the port is given back before anyone hears that we stopped
	if lost && ctx.Err() == nil {
		d.record(func(rec *capture.Recorder) error { return rec.Lost(Now(), serialport.LossText(err)) })
		d.become(StateLost, "port "+d.spec.Port+" was lost ("+serialport.LossText(err)+
			"): check the cable; it is opened again by itself")
	}
	return r.lived
}

// reading is one stretch of a port from its open to its loss.
type reading struct {
	*Device
	opened Stamp
	first  bool // nothing has come yet
	lived  bool // readings have come
}

// take is called on the poller's goroutine, as is what it calls.
func (r *reading) take(p []byte, a frame.Arrival) int {
	if r.first {
		clean := a.At-r.opened > Stamp(r.quiet)
		r.record(func(rec *capture.Recorder) error { return rec.Opened(r.opened, clean) })
		r.dec.Opened(clean, r.opened)
		r.first, a.From = false, r.opened
	}
	r.record(func(rec *capture.Recorder) error { return rec.Data(a.At, p) })
	n := r.Device.take(p, a)
	r.lived = r.lived || n > 0
	return n
}

// take decodes one read and passes the samples on. It gives how many there were.
func (d *Device) take(p []byte, a frame.Arrival) int {
	if d.spec.Tap != nil {
		d.spec.Tap(a.At, p, false)
	}
	faults := d.dec.FaultTotal()
	samples := d.dec.Read(p, a)
	d.deliver(samples, faults)
	return len(samples)
}

// record does one thing to the capture, if there is one. A full disk ends the capture, never the measurement.
func (d *Device) record(do func(*capture.Recorder) error) {
	if d.rec == nil {
		return
	}
	if err := do(d.rec); err != nil {
		d.log.Error("the capture has stopped, reading goes on", "file", d.spec.Capture, "err", err)
		d.rec = nil // Run closes it
	}
}
