package identify

import (
	"math/bits"
	"time"

	"tramd/device/serialport"
)

// Heard is what came at one setting of the line.
type Heard struct {
	Baud    int
	Line    string
	Request string // what was asked; empty when only listened to
	Chunks  []serialport.Chunk
}

// data returns what came, without what was asked.
func (h Heard) data() []byte {
	var out []byte
	for _, c := range h.Chunks {
		if !c.Asked {
			out = append(out, c.Data...)
		}
	}
	return out
}

// bursts cuts what came at silences: of more than the line takes for three bytes, and of more than a machine that reads
// late makes.
func (h Heard) bursts() [][]byte {
	var out [][]byte
	gap := max(5*time.Millisecond, 30*time.Second/time.Duration(max(h.Baud, 1)))
	last := time.Duration(-1 << 62)
	for _, c := range h.Chunks {
		if c.Asked {
			last = -1 << 62
			continue
		}
		if c.At-last >= gap {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], c.Data...)
		last = c.At
	}
	return out
}

// seven gives what a line of seven data bits would have brought, where the eighth bit heard is always a parity bit, or
// a second stop bit.
func (h Heard) seven() (Heard, bool) {
	data := h.data()
	even, odd, high, any := true, true, true, false
	for _, c := range data {
		ones := bits.OnesCount8(c) % 2
		even, odd = even && ones == 0, odd && ones == 1
		high, any = high && c >= 0x80, any || c >= 0x80
	}
	out := Heard{Baud: h.Baud, Request: h.Request}
	switch {
	case len(data) < 8 || !any || h.Line != "8N1":
		return h, false
	case even:
		out.Line = "7E1"
	case odd:
		out.Line = "7O1"
	case high:
		out.Line = "7N2"
	default:
		return h, false
	}
	for _, c := range h.Chunks {
		c.Data = append([]byte(nil), c.Data...)
		for i := range c.Data {
			c.Data[i] &= 0x7F
		}
		out.Chunks = append(out.Chunks, c)
	}
	return out, true
}
