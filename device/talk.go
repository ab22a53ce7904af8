package device

import (
	"fmt"
	"time"

	"tramd/device/frame"
)

const (
	paceLines  = 8 // readings after which an instrument's own pace is known
	missedMany = 5 // readings of that pace that may be missing before it counts as silent
)

// interval follows how often an instrument sends. The device's lock guards it.
type interval struct {
	n      int
	period float64 // nanoseconds
}

// count takes n readings, the last at that moment, the one before them at last.
func (p *interval) count(n int, last, at Stamp) {
	if last == 0 || at <= last {
		return
	}
	gap := float64(at-last) / float64(n)
	p.n += n
	if p.period == 0 {
		p.period = gap
	}
	p.period += (gap - p.period) / 8
}

// silentFor returns the silence from which the instrument counts as silent: the stale time, and at least some readings
// of its own pace, or of the pace at which it is asked.
func (d *Device) silentFor() time.Duration {
	wait := d.spec.StaleAfter
	if d.interval.n >= paceLines {
		wait = max(wait, time.Duration(missedMany*d.interval.period))
	}
	if d.requests != nil {
		every := d.spec.Asking.Every + d.spec.Asking.Answer
		wait = max(wait, 3*every*time.Duration(max(1, d.requests.framer.Questions())))
	}
	return wait
}

// talk reports whether the instrument of an open port sends, and what to do where it does not.
func (d *Device) talk(s *Status, now Stamp) {
	s.Talk, s.SilentFor = "", 0
	if !s.Open() {
		return
	}
	s.SilentFor = d.silentFor()
	last := s.Since // of a port that was opened again, readings from before say nothing
	if s.State == StateLive {
		last = max(last, s.LastAt)
	}
	waited := now - last
	switch {
	case d.spec.AtTimes || d.requests != nil && d.requests.onDemand || d.spec.Frame == frame.FramePulse:
		s.Talk = NotExpected
	case waited <= Stamp(s.SilentFor):
		if s.State == StateLive {
			s.Talk = Talking
		}
	default:
		s.Talk = Silent
		if s.Err == "" {
			s.Err = fmt.Sprintf(
				"port is open, but no reading has come for %.0f s: check that the instrument is on and sending, its battery and cable, the baud rate (%d) and the frame (%s)",
				waited.Seconds(), d.spec.Baud, d.spec.Frame)
		}
	}
}
