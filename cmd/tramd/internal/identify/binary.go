package identify

import (
	"math"

	"tramd/device/frame"
)

// binaryGuesses takes what came for frames of bytes that carry a count.
func binaryGuesses(h Heard) []guess {
	if h.Line != "8N1" && h.Line != "8E1" || mostlyText(h.data()) {
		return nil
	}
	var out []guess
	for _, w := range windows(h) {
		if g, ok := binaryIn(w, h); ok {
			out = append(out, g)
		}
	}
	return out
}

// mostlyText: a line of text that is no reading is no frame of bytes either.
func mostlyText(data []byte) bool {
	n := 0
	for _, c := range data {
		if c >= ' ' && c <= '~' || c == '\r' || c == '\n' || c == '\t' {
			n++
		}
	}
	return n*100 >= 95*len(data)
}

// layout is a guess at the bytes of a frame.
type layout struct {
	lead      int // fixed bytes at the front
	channelAt int // -1: none
	from, to  int // the value
	checkAt   int // -1: none
	checkEnd  int
	check     string
	checkFrom int
	checkHigh bool
	high      bool
	sign      string
}

func binaryIn(w window, h Heard) (guess, bool) {
	l := layout{channelAt: -1, checkAt: -1, checkEnd: w.size}
	for l.lead < w.size && w.constant(l.lead) && w.frames[0][l.lead] != 0 && w.frames[0][l.lead] != 0xFF {
		l.lead++
	}
	if l.lead == 0 && !w.gap || w.distinct() < 4 {
		return guess{}, false
	}
	w.findCheck(&l)
	to := w.size
	if l.checkAt >= 0 {
		to = l.checkAt
	}
	first, last := to, -1
	for i := l.lead; i < to; i++ {
		if !w.constant(i) {
			first, last = min(first, i), i
		}
	}
	if last < 0 {
		return guess{}, false
	}
	best := math.Inf(1)
	bestLayout := l
	for _, channelAt := range []int{-1, first, last} {
		x := l
		x.channelAt, x.from, x.to = channelAt, first, last+1
		var channel []int
		if channelAt >= 0 {
			if channel = w.channels(channelAt); channel == nil {
				continue
			}
			if channelAt == first {
				x.from++
			} else {
				x.to--
			}
		}
		if x.to <= x.from || x.to-x.from > 4 {
			continue
		}
		for _, high := range []bool{true, false} {
			y := w.widen(x, high, to)
			for _, sign := range []string{"twos", "offset", "none", "sign_bit"} {
				y.sign = sign
				values := w.values(y)
				rough := roughness(values, channel)
				if channel != nil {
					rough *= 1.5 // a channel must be worth it
				}
				if sign != "twos" {
					rough *= 1.01 // what nothing shows is taken for the usual
				}
				if sign == "offset" && !nearZero(values, y) {
					continue
				}
				if rough < best {
					best, bestLayout = rough, y
				}
			}
		}
	}
	l = bestLayout
	if math.IsInf(best, 1) || l.checkAt < 0 && !w.moves(l, best) {
		return guess{}, false
	}
	return w.binaryGuess(l, h), true
}

// nearZero reports whether counts that are measured from half of their range lie round it.
func nearZero(values []float64, l layout) bool {
	quarter := math.Pow(256, float64(l.to-l.from)) / 4
	for _, v := range values {
		if math.Abs(v) > quarter {
			return false
		}
	}
	return true
}

// moves says whether what has no check value is at least a plunger that was moved: far, and by small steps. Bytes heard
// at a wrong speed jump about.
func (w window) moves(l layout, rough float64) bool {
	return l.channelAt < 0 && smooth(w.values(l), rough)
}

func (w window) distinct() int {
	seen := map[string]bool{}
	for _, f := range w.frames {
		seen[string(f)] = true
	}
	return len(seen)
}

// channels returns the channel of each frame when this place goes round a few small numbers; nil when it does not.
func (w window) channels(at int) []int {
	seen := map[byte]int{}
	out := make([]int, len(w.frames))
	changes := 0
	low, high := byte(255), byte(0)
	for i, f := range w.frames {
		seen[f[at]]++
		out[i] = int(f[at])
		low, high = min(low, f[at]), max(high, f[at])
		if i > 0 && f[at] != w.frames[i-1][at] {
			changes++
		}
	}
	if len(seen) < 2 || len(seen) > mostChannels || high-low >= 2*mostChannels || changes*10 < 9*(len(w.frames)-1) {
		return nil
	}
	for _, n := range seen {
		if n < 3 {
			return nil
		}
	}
	return out
}

// widen takes the bytes that only hold the sign, so far, into the value.
func (w window) widen(l layout, high bool, to int) layout {
	l.high = high
	idle := func(i int) bool {
		return i >= l.lead && i < to && i != l.channelAt && w.constant(i) &&
			(w.frames[0][i] == 0 || w.frames[0][i] == 0xFF)
	}
	for l.to-l.from < 4 && high && idle(l.from-1) {
		l.from--
	}
	for l.to-l.from < 4 && !high && idle(l.to) {
		l.to++
	}
	return l
}

// values reads the counts by arithmetic of this package's own.
func (w window) values(l layout) []float64 {
	out := make([]float64, len(w.frames))
	n := l.to - l.from
	full := math.Pow(256, float64(n))
	for k, f := range w.frames {
		v := 0.0
		for i := range n {
			c := f[l.from+i]
			if !l.high {
				c = f[l.to-1-i]
			}
			v = v*256 + float64(c)
		}
		switch {
		case l.sign == "offset":
			v -= full / 2
		case v >= full/2 && l.sign == "twos":
			v -= full
		case v >= full/2 && l.sign == "sign_bit":
			v = full/2 - v
		}
		out[k] = v
	}
	return out
}

// findCheck looks for a check value that all frames bear out.
func (w window) findCheck(l *layout) {
	end := w.size
	for tail := 0; tail <= 2 && end > l.lead+2; tail++ {
		if tail > 0 {
			if !w.constant(end-1) || w.frames[0][end-1] == 0 {
				return
			}
			end--
		}
		for _, name := range frame.Checks[1:] {
			for _, high := range []bool{false, true} {
				for from := range min(l.lead+2, end-2) {
					if w.checks(name, high, from, end) {
						n, _ := frame.CheckValue(name, nil)
						l.check, l.checkHigh, l.checkFrom, l.checkAt, l.checkEnd = name, high &&
							n == 2, from, end-n, end
						return
					}
				}
			}
		}
	}
}

func (w window) checks(name string, high bool, from, end int) bool {
	for _, f := range w.frames {
		n, _ := frame.CheckValue(name, nil)
		if end-n <= from {
			return false
		}
		_, want := frame.CheckValue(name, f[from:end-n])
		got := uint16(f[end-1])
		if n == 2 && high {
			got = uint16(f[end-2])<<8 | got
		} else if n == 2 {
			got = got<<8 | uint16(f[end-2])
		}
		if got != want {
			return false
		}
	}
	return true
}
