package frame

import "time"

// bursts cuts a stream where it is silent. What lies between two silences must be one frame, or a whole number of them
// when a busy machine read late and took a silence for none; anything else is refused whole. A frame is therefore
// handed on when the silence after it is over, with the stamp of its last byte.
type bursts struct {
	faultCount
	packet
	gap   Stamp
	skip  bool // joined in the middle: wait for a silence
	over  bool // the burst does not fit the buffer
	heard bool // last means something
	last  Stamp
	n     int
	buf   [4 * maxPacket]byte
}

// Feed implements Framer.
func (b *bursts) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	if len(p) == 0 {
		return dst
	}
	if b.heard && at-b.last >= b.gap {
		dst = b.Silence(dst, at)
	}
	b.heard, b.last = true, at
	if b.over || b.n+len(p) > len(b.buf) {
		b.over = true
		return dst
	}
	b.n += copy(b.buf[b.n:], p)
	return dst
}

func (b *bursts) Silence(dst []Sample, _ Stamp) []Sample {
	burst := b.buf[:b.n]
	over, skip := b.over, b.skip
	b.n, b.over, b.skip = 0, false, false
	switch {
	case skip:
		return dst
	case over:
		b.add(faultTooLong)
		return dst
	case len(burst)%b.size != 0:
		b.add(faultShort)
		return dst
	}
	for ; len(burst) > 0; burst = burst[b.size:] {
		frame := burst[:b.size]
		if !b.fits(frame) {
			b.add(faultJunk)
			continue
		}
		s, f := b.decode(frame)
		if f != noFault {
			b.add(f)
			continue
		}
		s.At = b.last
		dst = append(dst, s)
	}
	return dst
}

func (b *bursts) MayHold() bool           { return true }
func (b *bursts) Holding() bool           { return b.n > 0 || b.over }
func (b *bursts) HoldsFor() time.Duration { return time.Duration(b.gap) }

// Reset implements Framer: the stream was joined in an unknown place.
func (b *bursts) Reset() { b.n, b.over, b.skip, b.heard = 0, false, true, false }

func (b *bursts) Begin() { b.n, b.over, b.skip, b.heard = 0, false, false, false }
