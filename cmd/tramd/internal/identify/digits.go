package identify

import (
	"fmt"
	"math"
	"strings"
)

// digitGuesses takes what came for frames of nibbles that are mostly digits.
func digitGuesses(h Heard) []guess {
	if h.Line != "8N1" && h.Line != "8E1" || mostlyText(h.data()) {
		return nil
	}
	var out []guess
	for _, w := range windows(h) {
		if w.distinct() < leastFrames || !w.gap && (!w.constant(0) || w.frames[0][0] == 0) {
			continue
		}
		for _, packing := range []string{"two", "two_low_first", "one"} {
			for _, reversed := range []bool{false, true} {
				if _, one := nibbles(w, "one", false); one != (packing == "one") {
					continue
				}
				if n, ok := nibbles(w, packing, reversed); ok {
					if g, ok := digitsIn(n, w, h, packing, reversed); ok {
						out = append(out, g)
					}
				}
			}
		}
	}
	return out
}

// nibbles returns the frames as nibbles in the order of the wire.
func nibbles(w window, packing string, reversed bool) (window, bool) {
	out := window{size: 2 * w.size, gap: w.gap}
	if packing == "one" {
		out.size = w.size
	}
	for _, f := range w.frames {
		var n []byte
		for _, c := range f {
			hi, lo := c>>4, c&0x0F
			switch packing {
			case "two":
				n = append(n, hi, lo)
			case "two_low_first":
				n = append(n, lo, hi)
			default:
				if hi != 0 {
					return out, false
				}
				n = append(n, lo)
			}
		}
		if reversed {
			for i, v := range n {
				n[i] = v&1<<3 | v&2<<1 | v&4>>1 | v&8>>3
			}
		}
		out.frames = append(out.frames, n)
	}
	return out, true
}

// places sorts the nibbles of a frame.
type places struct {
	sign     int // -1: none
	from, to int // the digits
	high     bool
}

func digitsIn(n, w window, h Heard, packing string, reversed bool) (guess, bool) {
	best := math.Inf(1)
	var at places
	for sign := -1; sign < n.size; sign++ {
		if sign >= 0 && n.kinds(sign) != 2 {
			continue
		}
		p := places{sign: sign, from: n.size, to: 0}
		ok, varying := true, 0
		for i := range n.size {
			if i == sign || n.constant(i) {
				continue
			}
			ok = ok && n.digits(i)
			varying++
			p.from, p.to = min(p.from, i), max(p.to, i+1)
		}
		if !ok || varying < 2 || sign > p.from && sign < p.to {
			continue
		}
		for i := p.from; i < p.to; i++ {
			ok = ok && n.digits(i)
		}
		if !ok {
			continue
		}
		for _, high := range []bool{true, false} {
			p.high = high
			x := n.widenDigits(p)
			if rough := roughness(n.numbers(x), nil); rough < best {
				best, at = rough, x
			}
		}
	}
	if math.IsInf(best, 1) || n.kinds(at.low()) < 8 {
		return guess{}, false
	}
	if !smooth(n.numbers(at), best) {
		return guess{}, false
	}
	return n.digitGuess(at, w, h, packing, reversed)
}

func (p places) low() int {
	if p.high {
		return p.to - 1
	}
	return p.from
}

func (w window) kinds(place int) int {
	seen := map[byte]bool{}
	for _, f := range w.frames {
		seen[f[place]] = true
	}
	return len(seen)
}

func (w window) digits(place int) bool {
	for _, f := range w.frames {
		if f[place] > 9 {
			return false
		}
	}
	return true
}

// widenDigits takes in the zeros above what has moved. The outermost stays out where no sign is known: it may be one.
func (w window) widenDigits(p places) places {
	zero := func(i int) bool {
		return i >= 0 && i < w.size && i != p.sign && w.constant(i) && w.frames[0][i] == 0
	}
	keep := 0
	if p.sign < 0 {
		keep = 1
	}
	n := 0
	for p.high && zero(p.from-1-n) || !p.high && zero(p.to+n) {
		n++
	}
	n = max(0, n-keep)
	if p.high {
		p.from -= n
	} else {
		p.to += n
	}
	return p
}

// numbers reads the values.
func (w window) numbers(p places) []float64 {
	plus := byte(0)
	if p.sign >= 0 {
		plus = w.plus(p.sign)
	}
	out := make([]float64, len(w.frames))
	for k, f := range w.frames {
		v := 0.0
		for i := p.from; i < p.to; i++ {
			d := f[i]
			if !p.high {
				d = f[p.to-1-(i-p.from)]
			}
			v = 10*v + float64(d)
		}
		if p.sign >= 0 && f[p.sign] != plus {
			v = -v
		}
		out[k] = v
	}
	return out
}

// plus is the lower of the two nibbles: 0 against 8, 0 against 1, A against B.
func (w window) plus(at int) byte {
	low := byte(15)
	for _, f := range w.frames {
		low = min(low, f[at])
	}
	return low
}

func (w window) digitGuess(p places, bytes window, h Heard, packing string, reversed bool) (guess, bool) {
	var m strings.Builder
	decimals := 3
	found := false
	for i := range w.size {
		switch {
		case i == p.sign:
			m.WriteByte('s')
		case i >= p.from && i < p.to:
			m.WriteByte('d')
		case w.constant(i):
			v := w.frames[0][i]
			fmt.Fprintf(&m, "%X", v)
			if !found && (i == p.to || i == p.from-1) && v >= 1 && v <= 6 {
				decimals, found = int(v), true
			}
		default:
			m.WriteByte('.')
		}
	}
	g := guess{what: "nibbles, mostly digits", rank: 34}
	var t strings.Builder
	fmt.Fprintf(&t, "[indicator.digits]\nmap = %q\ndecimals = %d          # a guess\n", m.String(), decimals)
	if packing != "two" {
		fmt.Fprintf(&t, "packing = %q\n", packing)
	}
	if reversed {
		t.WriteString("bits = \"low_first\"\n")
	}
	if !p.high {
		t.WriteString("order = \"low_first\"\n")
	}
	if p.sign >= 0 {
		plus := w.plus(p.sign)
		for _, f := range w.frames {
			if f[p.sign] != plus {
				fmt.Fprintf(&t, "plus = [%d]\nminus = [%d]\n", plus, f[p.sign])
				break
			}
		}
		g.notes = append(g.notes, "which nibble means minus is a guess: compare with the display")
	} else {
		g.notes = append(g.notes, "no sign was seen, so negative readings are refused: let it pass zero and try again")
	}
	lead := bytes.constant(0) && bytes.frames[0][0] != 0
	for i := p.from; i < p.to && lead; i++ {
		lead = i >= w.size/bytes.size // no digit in the first byte
	}
	if !lead || p.sign >= 0 && p.sign < w.size/bytes.size {
		if !w.gap {
			return g, false
		}
		fmt.Fprintf(&t, "gap_ms = %d\n", gapMS(h))
	}
	g.notes = append(g.notes, "how many decimals there are cannot be heard: compare with the display")
	g.table = t.String()
	return g, true
}
