package device

import "time"

// PulseFramer makes one sample of whatever comes at a moment: a foot switch or a push button that sends a character or a
// line when it is pressed, or an index pulse once a turn. The words do not matter, only the time. Bytes that follow within
// pulseRest belong to the same pulse.
type PulseFramer struct {
	faultCount
	skip bool  // joined in the middle: what comes now may be the end of an old pulse
	last Stamp // of the latest byte
	any  bool
}

const pulseRest = Stamp(30 * time.Millisecond)

// NewPulseFramer makes a framer that takes the first byte for a pulse.
func NewPulseFramer() *PulseFramer { return &PulseFramer{} }

// Feed implements Framer. Line ends alone are no pulse: they may come late.
func (f *PulseFramer) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	for _, c := range p {
		if c == '\n' || c == '\r' {
			f.skip = false
			continue
		}
		fresh := !f.any || at-f.last > pulseRest
		if f.skip && f.any && fresh {
			f.skip = false
		}
		f.any, f.last = true, at
		if fresh && !f.skip {
			dst = append(dst, Sample{At: at, Kind: Pulse})
		}
	}
	return dst
}

// Reset implements Framer.
func (f *PulseFramer) Reset() { f.skip, f.any = true, false }

func (f *PulseFramer) begin() { f.skip, f.any = false, false }
