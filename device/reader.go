package device

import (
	"context"
	"time"
)

const (
	// gatherFor is the wait before the next read while lines come fast: it bounds wake-ups to a thousand a second and
	// costs half of itself in delay, on average. BenchmarkPty measures both sides of that bargain.
	gatherFor = time.Millisecond
	// gatherAbove is the rate of lines, a second, from which gathering pays. A wait takes a timer and often a second
	// wake-up for what had not come yet: at a thousand lines a second it costs more than it saves (BenchmarkReadPath).
	gatherAbove = 1500
	// quietStart is the silence after an open that proves that the next byte begins a line. A stalled network may hold
	// half a line back for a few hundred milliseconds; half a second is beyond that and short for a person.
	quietStart = 500 * time.Millisecond
	readBuffer = 16 << 10
)

// serve reads an open port until it is lost or ctx ends, then closes it. It reports whether readings came.
func (d *Device) serve(ctx context.Context, src source) (lived bool) {
	closed := make(chan struct{})
	stop := context.AfterFunc(ctx, func() { src.Close(); close(closed) })
	defer func() {
		if stop() {
			src.Close()
		} else {
			<-closed // the port is given back before anyone hears that we stopped
		}
	}()
	var (
		buf    = make([]byte, readBuffer)
		opened = Now()
		first  = true
		pace   pacer
		got    int
	)
	for {
		n, err := src.Read(buf)
		at := Now()
		if n > 0 {
			if first {
				clean := at-opened > Stamp(d.quiet)
				d.record(func(r *Recorder) error { return r.Opened(opened, clean) })
				d.dec.opened(clean, opened)
				first = false
			}
			d.record(func(r *Recorder) error { return r.Data(at, buf[:n]) })
			got = d.take(buf[:n], at)
			lived = lived || got > 0
		}
		if ctx.Err() != nil {
			return lived
		}
		// A serial line never reads as empty, so no bytes and no error is an end too.
		if err != nil || n == 0 {
			d.record(func(r *Recorder) error { return r.Lost(at, lossText(err)) })
			d.become(StateLost, "port "+d.spec.Port+" was lost ("+lossText(err)+"): check the cable; it is opened again by itself")
			return lived
		}
		if pace.fast(at, got) {
			time.Sleep(gatherFor)
		}
	}
}

// take decodes one read and passes the samples on. It gives how many there were.
func (d *Device) take(p []byte, at Stamp) int {
	faults := d.dec.framer.faultTotal()
	samples := d.dec.read(p, at)
	d.deliver(samples, faults)
	return len(samples)
}

// record does one thing to the capture, if there is one. A full disk ends the capture, never the measurement.
func (d *Device) record(do func(*Recorder) error) {
	if d.rec == nil {
		return
	}
	if err := do(d.rec); err != nil {
		d.log.Error("the capture has stopped, reading goes on", "file", d.spec.Capture, "err", err)
		d.rec = nil // Run closes it
	}
}

// pacer tells a fast port by what its reads brought in the last tenth of a second. A read that brought nothing counts as
// one line: bytes that are no lines can come fast too.
type pacer struct {
	since   Stamp
	lines   int
	gathers bool
}

func (p *pacer) fast(now Stamp, samples int) bool {
	const window = Stamp(100 * time.Millisecond)
	p.lines += max(1, samples)
	if span := now - p.since; span >= window {
		p.gathers = int64(p.lines)*int64(time.Second) > gatherAbove*int64(span)
		p.since, p.lines = now, 0
	}
	return p.gathers
}
