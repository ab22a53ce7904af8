// Package identifytest makes the streams of instruments that do not exist, for tests: lines, nibbles, counts in bytes,
// registers, and what is none of these. It shares no code with what reads them.
package identifytest

import (
	"fmt"
	"math"
	"time"
)

// Stream is what one instrument sends.
type Stream struct {
	Name   string
	Line   string                      // of the port that must be found; as heard, the bytes are those of 8N1
	Frame  func(k int) []byte          // frame k
	Nm     func(k int) int64           // what it says, in nanometres
	Every  time.Duration               // from frame to frame; 0: without a pause
	Answer func(request string) []byte // nil: it sends by itself; else it answers, and Nm does not hold
	Holds  func(nm int64) bool         // for those that answer: what they may have said
}

// Micrometres is how the plunger moves: through zero, by a few micrometres a frame, and by hand, so not quite evenly.
func Micrometres(k int) int {
	return int(math.Round(900*math.Sin(float64(k)/23+3) + 40*math.Sin(float64(k)*1.3)))
}

func um(k int) int64 { return int64(Micrometres(k)) * 1000 }

func mm(k int) float64 { return float64(Micrometres(k)) / 1000 }

func text(name, line string, every time.Duration, frame func(k int) string) Stream {
	return Stream{Name: name, Line: line, Every: every, Nm: um, Frame: func(k int) []byte { return []byte(frame(k)) }}
}

const tenth = 10 * time.Millisecond

// Texts are instruments that send lines.
func Texts() []Stream {
	inches := func(k int) int64 { return int64(Micrometres(k)) * 1270 }
	out := []Stream{
		text("bare", "8N1", tenth, func(k int) string { return fmt.Sprintf("%+.3f\r\n", mm(k)) }),
		text("bare without a pause", "8N1", 0, func(k int) string { return fmt.Sprintf("%.3f\n", mm(k)) }),
		text("comma and unit", "8N1", tenth, func(k int) string {
			s := []byte(fmt.Sprintf("%.4f mm\r", mm(k)))
			for i := range s {
				if s[i] == '.' {
					s[i] = ','
				}
			}
			return string(s)
		}),
		text("right in its field", "8N1", tenth, func(k int) string { return fmt.Sprintf("%9.3f\r\n", mm(k)) }),
		text("two names", "8N1", tenth, func(k int) string { return fmt.Sprintf("%c: %.3f mm\r\n", 'A'+k%2, mm(k)) }),
		text("a word", "8N1", tenth, func(k int) string { return fmt.Sprintf("arm=%+.3f\r\n", mm(k)) }),
		text("micrometres", "8N1", tenth, func(k int) string {
			return fmt.Sprintf("%.1f um\r\n", float64(Micrometres(k)))
		}),
		text("seven bits even", "7E1", tenth, func(k int) string { return parity(fmt.Sprintf("%+.3f\r\n", mm(k)), 0) }),
		text("seven bits odd", "7O1", tenth, func(k int) string {
			return parity(fmt.Sprintf("%+.3f mm\r\n", mm(k)), 1)
		}),
		text("seven bits, two stops", "7N2", tenth, func(k int) string {
			return parity(fmt.Sprintf("%+.3f\r\n", mm(k)), 2)
		}),
		text("columns with a flag", "8N1", tenth, func(k int) string { return fmt.Sprintf("01N%8.3fMM\r\n", mm(k)) }),
		text("between controls", "8N1", tenth, func(k int) string { return fmt.Sprintf("\x02%+.3f\x03", mm(k)) }),
		text("sign behind", "8N1", tenth, func(k int) string {
			return fmt.Sprintf("%07.3f %c\r\n", math.Abs(mm(k)),
				map[bool]byte{true: '-', false: '+'}[Micrometres(k) < 0])
		}),
		text("a counter before it", "8N1", tenth, func(k int) string {
			return fmt.Sprintf("%06d,%+.3f\r\n", 1000+7*k, mm(k))
		}),
		text("whole numbers", "8N1", tenth, func(k int) string { return fmt.Sprintf("%+06d\r\n", Micrometres(k)) }),
		text("in brackets", "8N1", tenth, func(k int) string { return fmt.Sprintf("[%+.3f]\r\n", mm(k)) }),
		text("ended by a mark", "8N1", tenth, func(k int) string { return fmt.Sprintf("D%+.3f*", mm(k)) }),
		text("two channels in columns", "8N1", tenth, func(k int) string {
			return fmt.Sprintf("CH%d %+8.3f mm\r\n", 1+k%2, mm(k))
		}),
		text("columns, seven bits", "7E1", tenth, func(k int) string {
			return parity(fmt.Sprintf("G1 %8.3f;\r\n", mm(k)), 0)
		}),
	}
	for _, s := range []Stream{
		text("inches", "8N1", tenth, func(k int) string {
			return fmt.Sprintf("%+.5f in\r\n", float64(Micrometres(k))*0.00005)
		}),
		text("the whole word", "8N1", tenth, func(k int) string {
			return fmt.Sprintf("%+.5f INCH\r\n", float64(Micrometres(k))*0.00005)
		}),
	} {
		s.Nm = inches
		out = append(out, s)
	}
	return out
}

// parity sets the eighth bit: even (0), odd (1) or always (2).
func parity(s string, kind int) string {
	b := []byte(s)
	for i, c := range b {
		ones := 0
		for j := range 7 {
			ones += int(c >> j & 1)
		}
		if kind == 2 || ones%2 != kind {
			b[i] |= 0x80
		}
	}
	return string(b)
}

// big returns the n bytes of a count, the high one first.
func big(v, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[n-1-i] = byte(v >> (8 * i))
	}
	return b
}

func little(v, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(v >> (8 * i))
	}
	return b
}

func sum(b []byte) byte {
	s := 0
	for _, c := range b {
		s += int(c)
	}
	return byte(s)
}

func xor(b []byte) byte {
	x := byte(0)
	for _, c := range b {
		x ^= c
	}
	return x
}

// crc takes a byte bit by bit, the lowest first.
func crc(b []byte, poly, start int) int {
	c := start
	for _, x := range b {
		for i := range 8 {
			bit := (c ^ int(x)>>i) & 1
			c >>= 1
			if bit == 1 {
				c ^= poly
			}
		}
	}
	return c
}

func frame(name string, every time.Duration, f func(k int) []byte) Stream {
	return Stream{Name: name, Line: "8N1", Every: every, Nm: um, Frame: f}
}

// Bytes are instruments that send counts in bytes or nibbles.
func Bytes() []Stream {
	join := func(parts ...[]byte) []byte {
		var out []byte
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	return []Stream{
		frame("24 bits, xor", tenth, func(k int) []byte {
			b := join([]byte{0xAA, 0x55}, big(Micrometres(k), 3))
			return append(b, xor(b))
		}),
		frame("16 bits, sum, a last byte", tenth, func(k int) []byte {
			b := join([]byte{0x02}, little(Micrometres(k), 2))
			return append(b, sum(b), 0x03)
		}),
		frame("32 bits, crc16_modbus, without a pause", 0, func(k int) []byte {
			b := join([]byte{0xA5}, big(Micrometres(k), 4))
			return append(b, little(crc(b, 0xA001, 0xFFFF), 2)...)
		}),
		frame("32 bits, crc16_kermit", tenth, func(k int) []byte {
			b := join([]byte{0x7E}, little(Micrometres(k), 4))
			return append(b, little(crc(b, 0x8408, 0), 2)...)
		}),
		frame("two channels, xor", tenth, func(k int) []byte {
			b := join([]byte{0xAA, 0x55, byte(1 + k%2)}, big(Micrometres(k), 3))
			return append(b, xor(b))
		}),
		frame("16 bits, negated sum, without a pause", 0, func(k int) []byte {
			b := join([]byte{0x5A}, big(Micrometres(k), 2))
			return append(b, -sum(b))
		}),
		frame("xor of the count alone", tenth, func(k int) []byte {
			b := big(Micrometres(k), 3)
			return join([]byte{0xAB, 0xCD}, b, []byte{xor(b)})
		}),
		frame("16 bits, bare, without a pause", 0, func(k int) []byte {
			return join([]byte{0xAA, 0x55}, little(Micrometres(k), 2))
		}),
		frame("32 bits between silences", tenth, func(k int) []byte { return big(Micrometres(k), 4) }),
		frame("a bit for the sign", tenth, func(k int) []byte {
			v := Micrometres(k)
			if v < 0 {
				v = -v | 1<<15
			}
			b := join([]byte{0xC3}, big(v, 2))
			return append(b, xor(b))
		}),
		frame("half of the range is zero", tenth, func(k int) []byte {
			b := join([]byte{0xC3}, little(Micrometres(k)+1<<23, 3))
			return append(b, sum(b))
		}),
		frame("digits after a silence", tenth, func(k int) []byte { return packed(k) }),
		frame("digits without a pause", 0, func(k int) []byte { return packed(k) }),
		frame("thirteen nibbles, two a byte, and one that fills the last", tenth, func(k int) []byte {
			return append([]byte{0xFF}, packed(k)...)
		}),
		frame("thirteen nibbles, filled with F", tenth, func(k int) []byte {
			b := append([]byte{0xFF}, packed(k)...)
			b[len(b)-1] |= 0x0F
			return b
		}),
		frame("a nibble a byte, bits reversed", tenth, func(k int) []byte {
			out := []byte{15, 15, 15, 15}
			n := fmt.Sprintf("%d%06d30", map[bool]int{true: 8}[Micrometres(k) < 0], abs(Micrometres(k)))
			for _, c := range n {
				v := byte(c - '0')
				out = append(out, v&1<<3|v&2<<1|v&4>>1|v&8>>3)
			}
			return out
		}),
		frame("low digit first", tenth, func(k int) []byte {
			v := abs(Micrometres(k))
			d := []int{0xE, 0xE}
			for range 5 {
				d = append(d, v%10)
				v /= 10
			}
			d = append(d, map[bool]int{true: 0xB, false: 0xA}[Micrometres(k) < 0])
			var out []byte
			for i := 0; i < len(d); i += 2 {
				out = append(out, byte(d[i]<<4|d[i+1]))
			}
			return out
		}),
	}
}

func abs(v int) int {
	if v < 0 {
		return -v
	}
	return v
}

// packed is FF, the sign, six digits, three decimals, a unit, and a nibble that fills the byte.
func packed(k int) []byte {
	n := fmt.Sprintf("%d%06d300", map[bool]int{true: 8}[Micrometres(k) < 0], abs(Micrometres(k)))
	out := []byte{0xFF}
	for i := 0; i < len(n); i += 2 {
		out = append(out, (n[i]-'0')<<4|(n[i+1]-'0'))
	}
	return out
}

// Asked are instruments that answer.
func Asked() []Stream {
	k := func() func() int { n := 0; return func() int { n++; return n } }
	within := func(nm int64) bool { return abs(int(nm)) <= 941_000 }
	onlyTo := func(name, request string, answer func(k int) []byte) Stream {
		next := k()
		return Stream{Name: name, Line: "8N1", Holds: within, Answer: func(r string) []byte {
			if r != request {
				return nil
			}
			return answer(next())
		}}
	}
	registers := func(name string, address, function byte, words int, value func(k int) []byte) Stream {
		next := k()
		return Stream{Name: name, Line: "8N1", Holds: within, Answer: func(r string) []byte {
			if len(r) != 8 || r[0] != address || r[1] != function ||
				crc([]byte(r[:6]), 0xA001, 0xFFFF) != int(r[6])|int(r[7])<<8 {
				return nil
			}
			if int(r[5]) > words {
				b := []byte{address, function | 0x80, 2}
				return append(b, little(crc(b, 0xA001, 0xFFFF), 2)...)
			}
			b := append([]byte{address, function, byte(2 * r[5])}, value(next())[:2*r[5]]...)
			return append(b, little(crc(b, 0xA001, 0xFFFF), 2)...)
		}}
	}
	return []Stream{
		onlyTo("asked by CR", "\r", func(k int) []byte { return []byte(fmt.Sprintf("%+.3f\r\n", mm(k))) }),
		onlyTo("asked by a question mark", "?", func(k int) []byte { return []byte(fmt.Sprintf("%.3f mm\r", mm(k))) }),
		onlyTo("asked by a question mark and CR", "?\r", func(k int) []byte {
			return []byte(fmt.Sprintf("01N%8.3fMM\r\n", mm(k)))
		}),
		onlyTo("asked by ENQ", "\x05", func(k int) []byte {
			b := append([]byte{0xA5}, big(Micrometres(k), 3)...)
			return append(b, xor(b))
		}),
		registers("one register", 1, 3, 1, func(k int) []byte { return big(Micrometres(k), 2) }),
		registers("two registers", 1, 4, 2, func(k int) []byte { return big(Micrometres(k), 4) }),
		registers("two registers, low word first", 2, 3, 2, func(k int) []byte {
			b := big(Micrometres(k), 4)
			return []byte{b[2], b[3], b[0], b[1]}
		}),
		registers("a fraction", 1, 4, 2, func(k int) []byte { return big(int(math.Float32bits(float32(mm(k)))), 4) }),
	}
}
