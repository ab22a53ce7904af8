package frame

import "tramd/sweep/units"

var reverseNibble = [16]byte{0, 8, 4, 12, 2, 10, 6, 14, 1, 9, 5, 13, 3, 11, 7, 15}

// nibble reads the nibble at a place. In text it fails on a character that is none.
func (f *digitsFrame) nibble(frame []byte, place int) (byte, bool) {
	var n byte
	switch f.packing {
	case packOne:
		n = frame[place] & 0x0F
	case packText:
		c := frame[place]
		switch {
		case digit(c):
			n = c - '0'
		case c >= 'A' && c <= 'F':
			n = c - 'A' + 10
		case c >= 'a' && c <= 'f':
			n = c - 'a' + 10
		default:
			return 0, false
		}
	default:
		n = frame[place>>1]
		if (place&1 == 0) == (f.packing == packTwo) {
			n >>= 4
		}
		n &= 0x0F
	}
	if f.reversed {
		n = reverseNibble[n]
	}
	return n, true
}

// put is the way back, for bytes that are no text.
func (f *digitsFrame) put(frame []byte, place int, n byte) {
	if f.reversed {
		n = reverseNibble[n]
	}
	switch {
	case f.packing == packOne:
		frame[place] = n
	case (place&1 == 0) == (f.packing == packTwo):
		frame[place>>1] = frame[place>>1]&0x0F | n<<4
	default:
		frame[place>>1] = frame[place>>1]&0xF0 | n
	}
}

// allowed reports whether a nibble may have this value at this place.
func (f *digitsFrame) allowed(place int, n byte) bool {
	for _, x := range f.fixed {
		if x.place == place {
			return x.value == n
		}
	}
	switch place {
	case f.sign:
		return f.signs[n] != 0
	case f.point:
		return n <= 9
	case f.unitAt:
		return f.units[n] != 0
	}
	for _, d := range f.digits {
		if d == place {
			return n <= 9
		}
	}
	for _, d := range f.channel {
		if d == place {
			return n <= 9
		}
	}
	return true
}

func (f *digitsFrame) number(frame []byte, places []int) (uint64, bool) {
	v := uint64(0)
	for _, place := range places {
		n, ok := f.nibble(frame, place)
		if !ok || n > 9 {
			return 0, false
		}
		v = 10*v + uint64(n)
	}
	return v, true
}

// line takes a frame of text.
func (f *digitsFrame) line(b []byte) (Sample, fault) {
	if len(b) != f.nibbles {
		return Sample{}, faultNoMatch
	}
	for _, x := range f.fixed {
		if n, ok := f.nibble(b, x.place); !ok || n != x.value {
			return Sample{}, faultNoMatch
		}
	}
	return f.decode(b)
}

func (f *digitsFrame) decode(frame []byte) (Sample, fault) {
	d := decimal{frac: f.decimals}
	var ok bool
	if d.mant, ok = f.number(frame, f.digits); !ok {
		return Sample{}, faultDigit
	}
	if f.sign >= 0 {
		n, ok := f.nibble(frame, f.sign)
		if !ok || f.signs[n] == 0 {
			return Sample{}, faultDigit
		}
		d.neg = f.signs[n] < 0
	}
	if f.point >= 0 {
		n, ok := f.nibble(frame, f.point)
		if !ok || n > 9 {
			return Sample{}, faultDigit
		}
		d.frac = int(n)
	}
	unit := f.unit
	if f.unitAt >= 0 {
		n, ok := f.nibble(frame, f.unitAt)
		if !ok || f.units[n] == 0 {
			return Sample{}, faultUnit
		}
		unit = f.units[n]
	}
	s := Sample{Kind: Length}
	limit := uint64(units.MaxLength)
	if f.count {
		s.Kind, unit, limit = Count, 1, maxCount
	}
	if s.Value, ok = d.in(uint64(unit), limit); !ok {
		return Sample{}, faultRange
	}
	if len(f.channel) > 0 {
		n, ok := f.number(frame, f.channel)
		if !ok {
			return Sample{}, faultDigit
		}
		s.Channel = channelNames[n]
	}
	return s, noFault
}
