package identifytest

// Wire is the level of a line over time: true is the mark, the level of rest. A step of it lasts one bit at a rate that
// all usual speeds divide, or nearly.
type Wire struct {
	bits []bool
	rate int // bits a second
}

// Send puts bytes on a line: a start bit, so many data bits, parity N, E or O, and one stop bit, with pauses in
// between.
func Send(frames [][]byte, baud, data int, parity byte, pauseBits int) Wire {
	w := Wire{rate: baud}
	w.rest(40)
	for _, f := range frames {
		for _, c := range f {
			w.bits = append(w.bits, false)
			ones := 0
			for i := range data {
				bit := c>>i&1 == 1
				if bit {
					ones++
				}
				w.bits = append(w.bits, bit)
			}
			switch parity {
			case 'E':
				w.bits = append(w.bits, ones%2 == 1)
			case 'O':
				w.bits = append(w.bits, ones%2 == 0)
			}
			w.bits = append(w.bits, true)
		}
		w.rest(pauseBits)
	}
	return w
}

func (w *Wire) rest(n int) {
	for range n {
		w.bits = append(w.bits, true)
	}
}

// Byte is one that a receiver made out, and when its stop bit came, in seconds.
type Byte struct {
	At float64
	C  byte
}

// Receive is what a receiver set to a speed makes of it: from the edge of a start bit it looks at the middle of each
// bit. Where it finds no stop bit it takes the byte all the same, as a port without parity checking does, and waits for
// rest.
func (w Wire) Receive(baud, data int, parity byte) []Byte {
	level := func(t float64) bool {
		i := int(t * float64(w.rate))
		return i < 0 || i >= len(w.bits) || w.bits[i]
	}
	end := float64(len(w.bits)) / float64(w.rate)
	bit := 1 / float64(baud)
	// next is when the line next has a level.
	next := func(t float64, want bool) float64 {
		i := int(t * float64(w.rate))
		if level(t) == want {
			return t
		}
		for i < len(w.bits) && w.bits[i] != want {
			i++
		}
		return (float64(i) + 1e-6) / float64(w.rate)
	}
	var out []Byte
	for t := next(0, false); t < end; t = next(t, false) {
		if level(t + bit/2) { // a spike
			t = next(t, true)
			continue
		}
		c := byte(0)
		for i := range data {
			if level(t + bit*(1.5+float64(i))) {
				c |= 1 << i
			}
		}
		n := float64(data)
		if parity != 'N' {
			n++
		}
		stop := t + bit*(1.5+n)
		out = append(out, Byte{stop, c})
		t = next(stop, true) // a break lasts until then
	}
	return out
}
