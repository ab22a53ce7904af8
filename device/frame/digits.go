package frame

import (
	"math"
	"strings"
	"time"

	"tramd/sweep/units"
)

// Digits describes a frame of nibbles, most of them decimal digits. The map has one letter a nibble, in the order of
// the wire; blanks in it are for the eye:
//
//	0 to 9, A to F   that very nibble, always
//	d                a digit of the value
//	s                the sign, by the lists plus and minus
//	p                how many decimals the value has
//	u                the unit, by the table units
//	c                a digit of the channel
//	.                any nibble
//
// so "FF s dddddd p u" is a frame of ten nibbles that begins with two set ones. A frame is found by the nibbles it
// begins with, or, where gap_ms is given, by the silence before it.
//
// A byte carries two nibbles, the high one first ("two", or "two_low_first"), one in its lower half ("one"), or one as
// a character 0 to 9, A to F ("text"); frames of text are lines that end in CR or LF, so they need nothing fixed. With
// bits = "low_first" the four bits of each nibble come in reverse.
type Digits struct {
	Map     string `toml:"map"`
	Packing string `toml:"packing"` // "" is two
	Bits    string `toml:"bits"`    // "" is high_first
	// of the digits: "" is high_first, the most significant one
	Order    string            `toml:"order"`
	Plus     []int             `toml:"plus"`                  // nibbles that mean plus
	Minus    []int             `toml:"minus"`                 // nibbles that mean minus
	Decimals int               `toml:"decimals" zero:"meant"` // where no nibble says it
	Unit     string            `toml:"unit"`                  // where no nibble says it; "" is mm
	Units    map[string]string `toml:"units"`                 // by nibble: {"0" = "mm", "1" = "in"}
	GapMS    float64           `toml:"gap_ms"`
}

const (
	packTwo    = "two"
	packTwoLow = "two_low_first"
	packOne    = "one"
	packText   = "text"
)

// digitsFrame is a Digits taken apart. Places count nibbles.
type digitsFrame struct {
	packing  string
	reversed bool // the bits of a nibble
	fixed    []nibbleIs
	digits   []int // most significant first
	channel  []int // likewise
	sign     int   // -1: none
	point    int
	unitAt   int
	decimals int
	unit     units.Length
	signs    [16]int8 // +1, -1, 0: neither
	units    [16]units.Length
	nibbles  int
	count    bool // an angle source: the value is a count
}

type nibbleIs struct {
	place int
	value byte
}

// Problems names every mistake with its key and its cure.
func (d Digits) Problems(role Role) []Problem {
	_, ps := d.compile(role)
	return ps
}

func (d Digits) compile(role Role) (digitsFrame, []Problem) {
	var ps problems
	f := digitsFrame{sign: -1, point: -1, unitAt: -1, decimals: d.Decimals, packing: d.Packing, count: role.counts()}
	if d.Packing == "" {
		f.packing = packTwo
	}
	if !oneOf(f.packing, packTwo, packTwoLow, packOne, packText) {
		ps.add("packing", `%q; write "two", "two_low_first", "one" or "text"`, d.Packing)
	}
	f.reversed = d.Bits == lowFirst
	if !oneOf(d.Bits, "", lowFirst, highFirst) {
		ps.add("bits", `%q; write "high_first" or "low_first": the order of the four bits of a nibble`, d.Bits)
	}
	if !oneOf(d.Order, "", lowFirst, highFirst) {
		ps.add("order", `%q; write "high_first" or "low_first": which digit comes first`, d.Order)
	}
	f.read(&ps, d.Map)
	if d.Order == lowFirst {
		for i, j := 0, len(f.digits)-1; i < j; i, j = i+1, j-1 {
			f.digits[i], f.digits[j] = f.digits[j], f.digits[i]
		}
	}
	f.readSigns(&ps, d)
	f.readUnits(&ps, d)
	switch {
	case f.count && d.Decimals != 0:
		ps.add("decimals", "%d; an angle source gives counts, which have no decimals: remove it", d.Decimals)
	case d.Decimals < 0 || d.Decimals > 9 || d.Decimals > 0 && f.point >= 0:
		ps.add("decimals", `%d; write 0 to 9, and nothing where a "p" in the map says it`, d.Decimals)
	}
	if f.count && (f.point >= 0 || d.Unit != "" || f.unitAt >= 0) {
		ps.add("map", "an angle source gives counts, which have no decimals and no unit: remove what says them")
	}
	ps.gap(d.GapMS)
	if f.packing == packText && d.GapMS != 0 {
		ps.add("gap_ms", "%v; frames of text are lines: remove it", d.GapMS)
	}
	if f.packing != packText && d.GapMS == 0 && f.lead() < f.perByte() {
		ps.add(
			"map",
			`%q begins with no fixed byte, so no frame can be found; begin it with its fixed nibbles, or write gap_ms`,
			d.Map)
	}
	return f, ps
}

// lead counts the fixed nibbles at the front.
func (f *digitsFrame) lead() int {
	n := 0
	for n < len(f.fixed) && f.fixed[n].place == n {
		n++
	}
	return n
}

func (f *digitsFrame) perByte() int {
	if f.packing == packTwo || f.packing == packTwoLow {
		return 2
	}
	return 1
}

func (f *digitsFrame) read(ps *problems, text string) {
	const cure = `write one letter a nibble, for example "FF s dddddd p u"`
	once := func(place *int, letter rune) {
		if *place >= 0 {
			ps.add("map", "%q has %q twice; %s", text, letter, cure)
		}
		*place = f.nibbles
	}
	for _, c := range strings.Join(strings.Fields(text), "") {
		switch {
		case c == 'd':
			f.digits = append(f.digits, f.nibbles)
		case c == 'c':
			f.channel = append(f.channel, f.nibbles)
		case c == 's':
			once(&f.sign, c)
		case c == 'p':
			once(&f.point, c)
		case c == 'u':
			once(&f.unitAt, c)
		case c >= '0' && c <= '9':
			f.fixed = append(f.fixed, nibbleIs{f.nibbles, byte(c - '0')})
		case c >= 'A' && c <= 'F':
			f.fixed = append(f.fixed, nibbleIs{f.nibbles, byte(c - 'A' + 10)})
		case c == '.':
		default:
			ps.add("map", "%q means nothing; %s", c, cure)
		}
		f.nibbles++
	}
	if len(f.digits) == 0 || len(f.digits) > 12 {
		ps.add("map", `%d digits; write a "d" for each of 1 to 12; %s`, len(f.digits), cure)
	}
	if len(f.channel) > 2 {
		ps.add("map", `%d nibbles of channel; write at most two "c"`, len(f.channel))
	}
	if f.nibbles%f.perByte() != 0 {
		ps.add("map", "%d nibbles are no whole number of bytes; add the one that is missing, \".\" if it means nothing",
			f.nibbles)
	}
	if f.nibbles/f.perByte() > maxPacket {
		ps.add("map", "a frame has more than %d bytes; shorten it", maxPacket)
	}
}

func (f *digitsFrame) readSigns(ps *problems, d Digits) {
	if f.sign < 0 {
		if len(d.Plus)+len(d.Minus) > 0 {
			ps.add("map", `plus and minus are written, but no nibble is the sign; write an "s" where it stands`)
		}
		return
	}
	if len(d.Plus) == 0 || len(d.Minus) == 0 {
		ps.add("minus", "missing; write which nibbles mean plus and minus, for example plus = [0] and minus = [8]")
	}
	for sign, list := range map[int8][]int{1: d.Plus, -1: d.Minus} {
		key := map[int8]string{1: "plus", -1: "minus"}[sign]
		for _, n := range list {
			if n < 0 || n > 15 || f.signs[n] == -sign {
				ps.add(key, "%d; write nibbles from 0 to 15, each in one of the two lists", n)
				continue
			}
			f.signs[n] = sign
		}
	}
}

func (f *digitsFrame) readUnits(ps *problems, d Digits) {
	f.unit = units.Millimetre
	if d.Unit != "" {
		var ok bool
		if f.unit, ok = units.LengthUnit(d.Unit); !ok {
			ps.add("unit", `%q; write "mm", "um" or "in"`, d.Unit)
		}
	}
	switch {
	case f.unitAt >= 0 && len(d.Units) == 0:
		ps.add("units", `missing; write what each nibble means, for example units = { "0" = "mm", "1" = "in" }`)
	case f.unitAt < 0 && len(d.Units) > 0:
		ps.add("map", `units are written, but no nibble is the unit; write a "u" where it stands`)
	case f.unitAt >= 0 && d.Unit != "":
		ps.add("unit", `%q; a "u" in the map says it: remove one of the two`, d.Unit)
	}
	for nibble, name := range d.Units {
		u, ok := units.LengthUnit(name)
		n := strings.Index("0123456789ABCDEF", strings.ToUpper(nibble))
		if len(nibble) != 1 || n < 0 || !ok {
			ps.add("units", `%q = %q; write a nibble and "mm", "um" or "in", for example { "0" = "mm" }`, nibble, name)
			continue
		}
		f.units[n] = u
	}
}

var digitLineReasons = []fault{faultNoMatch, faultTooLong, faultDigit, faultUnit, faultRange}

func (d Digits) framer(role Role, asked bool) Framer {
	f, _ := d.compile(role)
	p := packet{size: f.nibbles / f.perByte(), bits: f.checkedBits(), decode: f.decode}
	if f.packing == packText {
		l := &lines{parse: f.line, ends: &lineEnds}
		l.reasons = digitLineReasons
		return l
	}
	p.fixed = f.fixedBits()
	p.sure = asked || len(p.fixed) > 0 && !f.couldEnd(p)
	return newPacketFramer(p, time.Duration(d.GapMS*float64(time.Millisecond)))
}

// checkedBits is what a frame cannot be by chance, in bits: of noise, one in 2^bits is a frame.
func (f *digitsFrame) checkedBits() int {
	bits := 0.0
	for place := range f.nibbles {
		may := 0
		for v := range byte(16) {
			if f.allowed(place, v) {
				may++
			}
		}
		bits += 4 - math.Log2(float64(may))
	}
	return int(bits)
}

// fixedBits says in bytes what is fixed in nibbles.
func (f *digitsFrame) fixedBits() []fixedBits {
	per := f.perByte()
	out := make([]fixedBits, 0, len(f.fixed))
	for _, x := range f.fixed {
		v, mask, place := x.value, byte(0x0F), x.place/per
		if f.reversed {
			v = reverseNibble[v]
		}
		if per == 2 && (x.place%2 == 0) == (f.packing == packTwo) {
			v, mask = v<<4, 0xF0
		}
		if n := len(out); n > 0 && out[n-1].place == place {
			out[n-1].mask |= mask
			out[n-1].value |= v
			continue
		}
		out = append(out, fixedBits{place, mask, v})
	}
	return out
}

// couldEnd says whether the byte that begins a frame could also be the last of one. Where it cannot, a frame that lost
// a byte shows it: the next frame's first byte has slipped into its end.
func (f *digitsFrame) couldEnd(p packet) bool {
	frame := make([]byte, p.size)
	// Every other nibble is made good, so that only the last byte can be at fault.
	for i := range f.nibbles {
		for v := range byte(16) {
			f.put(frame, i, v)
			if _, ok := f.nibble(frame, i); ok && f.allowed(i, v) {
				break
			}
		}
	}
	frame[p.size-1] = p.fixed[0].value
	if !p.fits(frame) {
		return false
	}
	_, bad := f.decode(frame)
	return bad == noFault
}
