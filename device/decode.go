package device

import (
	"math"
	"time"
)

// framer is a Framer whose count of faults is cheap to ask for.
type framer interface {
	Framer
	faultTotal() uint64
}

// decoder turns the reads of one port into stamped samples. Live ports and replayed captures share it.
type decoder struct {
	framer  framer
	baud    int
	prev    Stamp // when the previous read returned
	latest  Stamp // of the last sample handed out
	samples []Sample
}

// newDecoder makes a decoder without a past: a replay may be stamped before the program began.
func newDecoder(f framer, baud int) decoder {
	return decoder{framer: f, baud: baud, latest: math.MinInt64}
}

// opened tells the decoder that a new stream begins. A clean one begins with the start of a line.
func (d *decoder) opened(clean bool, at Stamp) {
	d.framer.Reset()
	if clean {
		d.samples = d.framer.Feed(d.samples[:0], []byte{'\n'}, at)
	}
	d.prev = at
}

// read decodes what one read brought. The result is valid until the next call.
func (d *decoder) read(p []byte, at Stamp) []Sample {
	d.samples = d.framer.Feed(d.samples[:0], p, at)
	spread(d.samples, d.prev, at, len(p), d.baud)
	for i := range d.samples {
		// Only a replay of captures joined end to end could run backwards here.
		d.latest = max(d.latest, d.samples[i].At)
		d.samples[i].At = d.latest
	}
	d.prev = at
	return d.samples
}

// spread shares out the stamps of several lines that one read brought. The last keeps the read's stamp. The others
// arrived between the previous read and this one and are set evenly in between, but no further apart than the lines
// take on the wire: after a pause the whole read arrived just now. When the previous read is no longer ago than the
// reader itself was gathering, there was no pause, and the lines fill that time evenly.
//
// The wire's time counts ten bits a byte (start, eight, stop) and the mean length of a line in this read.
func spread(s []Sample, prev, at Stamp, size, baud int) {
	n := len(s)
	if n < 2 || at <= prev {
		return
	}
	step := (at - prev) / Stamp(n)
	if at-prev > Stamp(2*gatherFor) && baud > 0 {
		onWire := Stamp(int64(size) * 10 * int64(time.Second) / int64(baud) / int64(n))
		step = min(step, onWire)
	}
	for i := range s {
		s[i].At = at - step*Stamp(n-1-i)
	}
}
