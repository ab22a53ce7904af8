package frame

import (
	"math"
	"time"
)

// Holder is a framer that may hold a whole frame back until what follows it proves it, be that only silence.
type Holder interface {
	MayHold() bool // else it is as any other framer
	Holding() bool
	HoldsFor() time.Duration                 // how long a silence it is that proves the frame
	Silence(dst []Sample, at Stamp) []Sample // none came for so long
}

// AsHolder gives the framer as one that may hold frames back; nil when it is none.
func AsHolder(f Framer) Holder {
	if w, ok := f.(Holder); ok && w.MayHold() {
		return w
	}
	return nil
}

// Decoder turns the reads of one port into stamped samples. Live ports and replayed captures share it.
type Decoder struct {
	framer  Framer
	holder  Holder // nil: the framer holds nothing back
	baud    int
	latest  Stamp // of the last sample handed out
	samples []Sample
	pace    pace
}

// NewDecoder makes a Decoder without a past: a replay may be stamped before the program began.
func NewDecoder(f Framer, baud int) Decoder {
	return Decoder{framer: f, holder: AsHolder(f), baud: baud, latest: math.MinInt64}
}

// Opened tells the decoder that a new stream begins. A clean one begins with the start of a line.
func (d *Decoder) Opened(clean bool, at Stamp) {
	d.framer.Reset()
	if clean {
		d.framer.Begin()
	}
	d.pace = pace{}
}

// Read decodes what one read brought. The result is valid until the next call.
func (d *Decoder) Read(p []byte, a Arrival) []Sample {
	d.samples = d.framer.Feed(d.samples[:0], p, a.At)
	switch {
	case len(d.samples) > 0 && d.samples[0].Asked != 0:
		// What was asked for came as one answer, at one time.
	case d.holder != nil:
		spreadHeld(d.samples, d.holder.Holding(), a, len(p), d.baud)
	default:
		spread(d.samples, a, len(p), d.baud)
		d.pace.place(d.samples, a)
	}
	d.order()
	return d.samples
}

// Silence takes from the framer what it held back. The result is valid until the next call.
func (d *Decoder) Silence(w Holder, at Stamp) []Sample {
	d.samples = w.Silence(d.samples[:0], at)
	d.order()
	return d.samples
}

// FaultTotal returns the number of refused frames.
func (d *Decoder) FaultTotal() uint64 { return d.framer.FaultTotal() }

// Faults returns the number of refused frames by reason.
func (d *Decoder) Faults() map[string]uint64 { return d.framer.Faults() }

// order keeps stamps from running backwards. Only a replay of captures joined end to end could make them.
func (d *Decoder) order() {
	for i := range d.samples {
		d.latest = max(d.latest, d.samples[i].At)
		d.samples[i].At = d.latest
	}
}

// spreadHeld is spread for a framer that holds frames back. What an earlier read brought and this one proved has its
// stamp already. A frame that is still held came last of all and has the read's stamp: its place is left free.
func spreadHeld(s []Sample, holding bool, a Arrival, size, baud int) {
	for len(s) > 0 && s[0].At != a.At {
		s = s[1:]
	}
	if !holding {
		spread(s, a, size, baud)
		return
	}
	var room [64]Sample // more frames than that in one read are set without the one that is held
	if len(s) < len(room) {
		with := append(room[:0], s...)
		with = append(with, Sample{At: a.At})
		spread(with, a, size, baud)
		copy(s, with)
		return
	}
	spread(s, a, size, baud)
}

// spread shares out the stamps of the lines that one read brought. Where they came together, the last keeps the read's
// stamp and the others are set before it, no further apart than lines take on the wire: the whole read arrived just
// now. Lines that were found lying there are set evenly in the time in which they can have come.
//
// The wire's time counts ten bits a byte (start, eight, stop) and the mean length of a line in this read.
func spread(s []Sample, a Arrival, size, baud int) {
	n := len(s)
	if n == 0 || a.At <= a.From {
		return
	}
	span := a.At - a.From
	if !a.together() {
		for i := range s {
			s[i].At = a.From + span*Stamp(i+1)/Stamp(n+1)
		}
		return
	}
	step := span / Stamp(n)
	if baud > 0 {
		onWire := Stamp(int64(size) * 10 * int64(time.Second) / int64(baud) / int64(n))
		step = min(step, onWire)
	}
	for i := range s {
		s[i].At = a.At - step*Stamp(n-1-i)
	}
}
