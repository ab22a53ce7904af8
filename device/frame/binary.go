package frame

import (
	"strconv"
	"strings"
	"time"
)

// Binary describes a frame of bytes that carries a count. The layout names its bytes in the order of the wire:
//
//	AA      two hexadecimal digits: that very byte, always
//	ch      the channel; it is known by its number, from "0" to "255"
//	value   the count: as many bytes as its bits need
//	check   the check value, over the bytes from check_from up to here
//	--      any byte
//
// so "AA 55 ch value check" with 24 bits and the check "xor" is a frame of seven bytes. A frame is found by the bytes
// it begins with, or, where gap_ms is given, by the silence before it.
//
// The sign is "twos" (two's complement), "sign_bit" (the highest bit means minus, the others are the size), "offset"
// (half of the range is zero) or "none". Where the bits do not fill their bytes, the bits above them are not looked at.
type Binary struct {
	Layout     string  `toml:"layout"`
	Bits       int     `toml:"bits"`
	Order      string  `toml:"order"` // low_first or high_first; not needed for 8 bits
	Sign       string  `toml:"sign"`  // "" is twos
	Scale      string  `toml:"scale"` // the length of one count
	Check      string  `toml:"check"`
	CheckFrom  int     `toml:"check_from" zero:"meant"` // the first byte that the check value covers, counted from 0
	CheckOrder string  `toml:"check_order"`             // of a check value of two bytes; "" is low_first
	GapMS      float64 `toml:"gap_ms"`
}

// Words of a layout.
const (
	lowFirst  = "low_first"
	highFirst = "high_first"

	signTwos   = "twos"
	signBit    = "sign_bit"
	signOffset = "offset"
	signNone   = "none"
)

// binaryFrame is a Binary taken apart.
type binaryFrame struct {
	size      int
	fixed     []fixedBits
	valueAt   int
	bytes     int // of the value
	channelAt int // -1: none
	checkAt   int
	checkFrom int
	check     checker
	checkHigh bool // the high byte of the check value comes first
	high      bool // the high byte of the value comes first
	bits      int
	sign      string
	quantity  quantity
}

// Problems names every mistake with its key and its cure.
func (b Binary) Problems(role Role) []Problem {
	_, ps := b.compile(role)
	return ps
}

func (b Binary) compile(role Role) (binaryFrame, []Problem) {
	var ps problems
	f := binaryFrame{valueAt: -1, channelAt: -1, checkAt: -1, checkFrom: b.CheckFrom, bits: b.Bits, sign: b.Sign}
	if b.Bits < 8 || b.Bits > 32 {
		ps.add("bits", "%d; write how many bits the count has, 8 to 32", b.Bits)
		f.bits = 8
	}
	f.bytes = (f.bits + 7) / 8
	f.high = b.Order == highFirst
	if !oneOf(b.Order, lowFirst, highFirst) && (b.Order != "" || f.bytes > 1) {
		ps.add("order", `%q; write "low_first" or "high_first": which byte of the count comes first`, b.Order)
	}
	if b.Sign == "" {
		f.sign = signTwos
	}
	if !oneOf(f.sign, signTwos, signBit, signOffset, signNone) {
		ps.add("sign", `%q; write "twos", "sign_bit", "offset" or "none"`, b.Sign)
	}
	f.quantity = ps.quantity(role, b.Scale)
	var known bool
	if f.check, known = newChecker(b.Check); !known {
		ps.add("check", "%q; write one of %s", b.Check, strings.Join(Checks, ", "))
	}
	f.checkHigh = b.CheckOrder == highFirst
	if !oneOf(b.CheckOrder, "", lowFirst, highFirst) {
		ps.add("check_order", `%q; write "low_first" or "high_first"`, b.CheckOrder)
	}
	f.layout(&ps, b.Layout)
	if f.checkAt >= 0 && (b.CheckFrom < 0 || b.CheckFrom >= f.checkAt) {
		ps.add("check_from", "%d; write a byte before the check value: 0 to %d", b.CheckFrom, f.checkAt-1)
	}
	ps.gap(b.GapMS)
	if b.GapMS == 0 && (len(f.fixed) == 0 || f.fixed[0].place != 0) {
		ps.add(
			"layout",
			`%q begins with no fixed byte, so no frame can be found; begin it with one, for example "AA value", or write gap_ms`, b.Layout)
	}
	return f, ps
}

// layout places the bytes.
func (f *binaryFrame) layout(ps *problems, text string) {
	const cure = `write the bytes in their order, for example "AA 55 value check"`
	once := func(word string, place *int, bytes int) {
		if *place >= 0 {
			ps.add("layout", "%q is in it twice; %s", word, cure)
		}
		*place = f.size
		f.size += bytes
	}
	for _, word := range strings.Fields(text) {
		switch word {
		case "ch":
			once(word, &f.channelAt, 1)
		case "value":
			once(word, &f.valueAt, f.bytes)
		case "check":
			once(word, &f.checkAt, f.check.bytes)
		case "--":
			f.size++
		default:
			x, err := strconv.ParseUint(word, 16, 8)
			if err != nil || len(word) != 2 {
				ps.add("layout", `%q is none of two hexadecimal digits, "ch", "value", "check" or "--"; %s`, word, cure)
				return
			}
			f.fixed = append(f.fixed, fixedBits{f.size, 0xFF, byte(x)})
			f.size++
		}
		if f.size > maxPacket {
			ps.add("layout", "a frame has more than %d bytes; %s", maxPacket, cure)
			return
		}
	}
	switch {
	case f.valueAt < 0:
		ps.add("layout", `%q has no "value"; %s`, text, cure)
	case f.checkAt < 0 && f.check.bytes > 0:
		ps.add("layout", `%q has no place for the check value; add "check"`, text)
	case f.checkAt >= 0 && f.check.bytes == 0:
		ps.add("layout", `%q has a check value; write which with the key check`, text)
	}
}

func (b Binary) framer(role Role, asked bool) Framer {
	f, _ := b.compile(role)
	p := packet{
		size: f.size, fixed: f.fixed, bits: 8 * (len(f.fixed) + f.check.bytes),
		sure: asked || f.check.bytes == 2, decode: f.decode,
	}
	return newPacketFramer(p, time.Duration(b.GapMS*float64(time.Millisecond)))
}

func (f *binaryFrame) decode(frame []byte) (Sample, fault) {
	if n := f.check.bytes; n > 0 {
		got := uint16(frame[f.checkAt])
		if n == 2 {
			next := uint16(frame[f.checkAt+1])
			if f.checkHigh {
				got = got<<8 | next
			} else {
				got |= next << 8
			}
		}
		if got != f.check.of(frame[f.checkFrom:f.checkAt]) {
			return Sample{}, faultCheck
		}
	}
	var raw uint32
	for i, c := range frame[f.valueAt : f.valueAt+f.bytes] {
		if f.high {
			raw = raw<<8 | uint32(c)
		} else {
			raw |= uint32(c) << (8 * i)
		}
	}
	v, ok := f.quantity.of(f.signed(raw))
	if !ok {
		return Sample{}, faultRange
	}
	s := Sample{Kind: f.quantity.kind, Value: v}
	if f.channelAt >= 0 {
		s.Channel = channelNames[frame[f.channelAt]]
	}
	return s, noFault
}

func (f *binaryFrame) signed(raw uint32) int64 {
	half := int64(1) << (f.bits - 1)
	v := int64(raw) & (2*half - 1)
	switch f.sign {
	case signTwos:
		if v >= half {
			v -= 2 * half
		}
	case signBit:
		if v >= half {
			v = half - v
		}
	case signOffset:
		v -= half
	}
	return v
}
