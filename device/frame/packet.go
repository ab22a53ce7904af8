package frame

import (
	"strconv"
	"time"
)

// maxPacket caps a frame of fixed length. One alignment a bit of the search fits a machine word.
const maxPacket = 64

const (
	// pauseAfter is a silence within a frame that no line and no adapter makes, nor often a busy machine: the bytes
	// before and after it belong to two frames.
	pauseAfter = 60 * time.Millisecond
	// holdFor is the silence after which nothing of a whole frame is missing. Adapters hold bytes back for up to 16 ms
	// when they come from their makers.
	holdFor = 25 * time.Millisecond
)

// packet is a frame of fixed length, as a layout describes it.
type packet struct {
	size   int
	fixed  []fixedBits // what every frame holds at known places
	bits   int         // how many bits of a frame are checked: by what is fixed, and by its check value
	sure   bool        // a frame that lost a byte cannot pass for a whole one
	decode func(frame []byte) (Sample, fault)
}

type fixedBits struct {
	place       int
	mask, value byte
}

// fits reports whether everything is in its place that must be.
func (p *packet) fits(frame []byte) bool {
	for _, x := range p.fixed {
		if frame[x.place]&x.mask != x.value {
			return false
		}
	}
	return true
}

// good decodes a window that may be no frame at all.
func (p *packet) good(window []byte) (Sample, bool) {
	if !p.fits(window) {
		return Sample{}, false
	}
	s, f := p.decode(window)
	return s, f == noFault
}

// proof is how many frames in a row must be found at one place before it is believed: so many that noise makes them up
// less than once in four thousand million tries.
func (p *packet) proof() uint8 {
	return uint8(min(max((32+p.bits-1)/max(p.bits, 1), 2), 8))
}

// channelNames are the numbers that a frame of bytes has in place of names.
var channelNames = func() (names [256]string) {
	for i := range names {
		names[i] = strconv.Itoa(i)
	}
	return
}()

var packetReasons = []fault{faultJunk, faultShort, faultTooLong, faultCheck, faultDigit, faultUnit, faultRange}

// newPacketFramer cuts frames by silence if there is a gap, else by what is fixed in them.
func newPacketFramer(p packet, gap time.Duration) Framer {
	count := faultCount{reasons: packetReasons}
	if gap > 0 {
		return &bursts{packet: p, faultCount: count, gap: Stamp(gap), skip: false}
	}
	f := &synced{packet: p, faultCount: count}
	f.Begin()
	return f
}
