package frame

import "time"

// synced cuts a stream by what is fixed in its frames.
//
// In step, each frame begins where the one before it ended. A frame in which the fixed bytes are not in their place, or
// two in a row that are wrong in themselves, put it out of step. It is found again where proof frames follow one
// another and at no other place does a frame fit as well: data that looks like a sync byte fits too, as long as it does
// not change, and a guess between the two could give wrong readings for good. A silence shows where a frame begins, so
// behind one only the proof is needed.
//
// A frame that lost a byte takes one from the next. Where neither a check value of 16 bits nor the digits show that for
// sure, a frame is held until the next one is good too, or until a silence shows that nothing is missing; it keeps its
// own stamp.
type synced struct {
	faultCount
	packet
	step    bool
	strikes int // frames in a row that were wrong in themselves
	heard   bool
	last    Stamp // when the latest bytes came
	held    Sample
	holds   bool
	n       int // bytes in buf: of a frame begun, or the latest of a search
	buf     [maxPacket]byte

	searched int              // bytes since the search began
	matches  [maxPacket]uint8 // frames in a row found at each place
}

// Feed implements Framer.
func (f *synced) Feed(dst []Sample, p []byte, at Stamp) []Sample {
	if len(p) == 0 {
		return dst
	}
	if f.heard && at-f.last >= Stamp(pauseAfter) {
		dst = f.pause(dst)
	}
	f.heard, f.last = true, at
	for len(p) > 0 {
		if !f.step {
			dst = f.look(dst, p[0], at)
			p = p[1:]
			continue
		}
		if f.n == 0 && len(p) >= f.size {
			dst = f.frame(dst, p[:f.size], at)
			p = p[f.size:]
			continue
		}
		took := copy(f.buf[f.n:f.size], p)
		p = p[took:]
		if f.n += took; f.n == f.size {
			f.n = 0
			whole := f.buf // a frame that is none is searched through the same buffer
			dst = f.frame(dst, whole[:f.size], at)
		}
	}
	return dst
}

// frame takes one frame in step.
func (f *synced) frame(dst []Sample, frame []byte, at Stamp) []Sample {
	if !f.fits(frame) {
		f.lose()
		for _, c := range frame[1:] {
			dst = f.look(dst, c, at)
		}
		return dst
	}
	s, bad := f.decode(frame)
	if bad != noFault {
		if f.holds {
			f.holds = false
			f.add(faultJunk)
		}
		f.add(bad)
		if f.strikes++; f.strikes >= 2 && bad != faultRange {
			f.search()
		}
		return dst
	}
	f.strikes = 0
	if f.holds {
		f.holds = false
		dst = append(dst, f.held)
	}
	return f.give(dst, s, at)
}

// give hands a frame on, or holds it.
func (f *synced) give(dst []Sample, s Sample, at Stamp) []Sample {
	s.At = at
	if f.sure {
		return append(dst, s)
	}
	f.held, f.holds = s, true
	return dst
}

// lose goes out of step, and counts it.
func (f *synced) lose() {
	f.add(faultJunk)
	f.search()
}

func (f *synced) search() {
	f.step, f.holds, f.strikes = false, false, 0
	f.n, f.searched = 0, 0
	clear(f.matches[:])
}

// look takes one byte out of step.
func (f *synced) look(dst []Sample, c byte, at Stamp) []Sample {
	if f.n == f.size {
		copy(f.buf[:], f.buf[1:f.size])
		f.n--
	}
	f.buf[f.n] = c
	f.n++
	f.searched++
	if f.searched%1024 == 0 {
		f.add(faultJunk) // so that noise is seen to be noise
	}
	if f.n < f.size {
		return dst
	}
	place := f.searched % f.size
	s, ok := f.good(f.buf[:f.size])
	if !ok {
		f.matches[place] = 0
		return dst
	}
	f.matches[place] = min(f.matches[place]+1, 8)
	if f.matches[place] < f.proof() {
		return dst
	}
	for other, n := range f.matches[:f.size] {
		if other != place && n > 0 {
			return dst
		}
	}
	f.step, f.n = true, 0
	return f.give(dst, s, at)
}

// pause is a silence within or between frames.
func (f *synced) pause(dst []Sample) []Sample {
	dst = f.Silence(dst, f.last)
	switch {
	case f.step && f.n > 0:
		f.add(faultShort)
		f.search()
	case !f.step:
		// What was found from the silence before up to this one, frame by frame, counts.
		kept := uint8(0)
		if f.searched%f.size == 0 {
			kept = f.matches[0]
		}
		f.search()
		f.matches[0] = kept
	}
	return dst
}

func (f *synced) Silence(dst []Sample, _ Stamp) []Sample {
	if !f.holds {
		return dst
	}
	f.holds = false
	for _, x := range f.fixed {
		if x.place < f.n && f.buf[x.place]&x.mask != x.value {
			f.add(faultJunk)
			return dst
		}
	}
	return append(dst, f.held)
}

func (f *synced) MayHold() bool           { return !f.sure }
func (f *synced) Holding() bool           { return f.holds }
func (f *synced) HoldsFor() time.Duration { return holdFor }

// Reset implements Framer: the stream was joined in an unknown place.
func (f *synced) Reset() {
	f.search()
	f.heard = false
}

func (f *synced) Begin() {
	f.search()
	f.step, f.heard = true, false
}
