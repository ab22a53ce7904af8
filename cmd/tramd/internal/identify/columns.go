package identify

import (
	"math"
	"slices"
)

// window is a stretch of frames of one length laid over each other.
type window struct {
	size   int
	frames [][]byte
	gap    bool // each began behind a silence
}

const (
	leastFrames = 8
	mostFrame   = 32
)

// windows returns the ways in which what was heard may be frames of one length: as silences cut it, and by every period
// that shows, at every place it may begin: what comes without a pause is cut by a busy machine.
func windows(h Heard) []window {
	var out []window
	if w, ok := cutBySilence(h); ok {
		out = append(out, w)
	}
	return append(out, periods(h.data())...)
}

func periods(data []byte) []window {
	if len(data) > 4096 {
		data = data[:4096]
	}
	var out []window
	for size := 2; size <= mostFrame && len(data) >= (leastFrames+1)*size; size++ {
		if !periodic(data, size) {
			continue
		}
		for at := range size {
			w := window{size: size}
			for rest := data[at:]; len(rest) >= size; rest = rest[size:] {
				w.frames = append(w.frames, rest[:size])
			}
			out = append(out, w)
		}
		// Twice a period is a period too.
		if size*2 <= mostFrame && len(out) > 0 && out[0].size*2 <= size {
			break
		}
	}
	return out
}

func cutBySilence(h Heard) (window, bool) {
	sizes := map[int]int{}
	bursts := h.bursts()
	if len(bursts) > 1 && h.Request == "" {
		bursts = bursts[1:] // joined in the middle
	}
	for _, b := range bursts {
		sizes[len(b)]++
	}
	w := window{gap: true}
	for size, n := range sizes {
		if n > sizes[w.size] || n == sizes[w.size] && size < w.size {
			w.size = size
		}
	}
	if w.size < 2 || w.size > mostFrame {
		return w, false
	}
	good := 0
	for _, b := range bursts {
		if len(b)%w.size != 0 {
			continue
		}
		good++
		for ; len(b) > 0; b = b[w.size:] { // a busy machine reads two at once
			w.frames = append(w.frames, b[:w.size])
		}
	}
	return w, len(w.frames) >= leastFrames && float64(good) >= leastShare*float64(len(bursts)-1)
}

// periodic reports whether some place of every frame always holds the same, and the whole does not.
func periodic(data []byte, size int) bool {
	same := false
	for at := range size {
		constant := true
		for i := at; i < len(data); i += size {
			constant = constant && data[i] == data[at]
		}
		same = same || constant && data[at] != 0
	}
	return same && !slices.Equal(data[:size], data[size:2*size]) || same && varies(data, size)
}

func varies(data []byte, size int) bool {
	for i := size; i < len(data); i++ {
		if data[i] != data[i-size] {
			return true
		}
	}
	return false
}

// constant reports whether a place holds the same in every frame.
func (w window) constant(place int) bool {
	for _, f := range w.frames {
		if f[place] != w.frames[0][place] {
			return false
		}
	}
	return true
}

// roughness is how far a value jumps from frame to frame, beside how far it goes at all: small for what a hand moves,
// near one for bytes taken in a wrong order. Values of several channels are compared each with its own.
func roughness(values []float64, channel []int) float64 {
	last := map[int]float64{}
	low, high, jump, n := math.Inf(1), math.Inf(-1), 0.0, 0
	for i, v := range values {
		ch := 0
		if channel != nil {
			ch = channel[i]
		}
		if before, ok := last[ch]; ok {
			jump += math.Abs(v - before)
			n++
		}
		last[ch] = v
		low, high = min(low, v), max(high, v)
	}
	if n == 0 || high <= low {
		return math.Inf(1)
	}
	return jump / float64(n)
}

// How far a plunger that a hand moves goes from frame to frame beside all its way: as a rule, and at the most. Bytes
// taken in a wrong order, or heard at a wrong speed, leap at each carry.
const (
	smoothMean = 0.04
	smoothLeap = 0.15
)

// smooth says whether values are those of a plunger that was moved far, and by small steps. rough is their roughness.
func smooth(values []float64, rough float64) bool {
	seen := map[float64]bool{}
	low, high, leap := values[0], values[0], 0.0
	for i, v := range values {
		seen[v] = true
		low, high = min(low, v), max(high, v)
		if i > 0 {
			leap = max(leap, math.Abs(v-values[i-1]))
		}
	}
	return len(seen) >= 12 && rough <= (high-low)*smoothMean && leap <= (high-low)*smoothLeap
}
