package frame

import "math/bits"

// A check value guards a frame. The sums take their bytes modulo 256. The cyclic codes are those of common use, by
// their usual names; each gives a published value for the nine bytes "123456789", see the test.
const (
	checkNone    = "none"
	checkSum     = "sum"            // the sum of the bytes
	checkNegated = "negated_sum"    // what makes the sum of all bytes zero
	checkXor     = "xor"            // the exclusive or of the bytes
	checkModbus  = "crc16_modbus"   // polynomial 0x8005 reflected, begins at 0xFFFF: MODBUS over Serial Line V1.02
	checkIBM     = "crc16_ibm_3740" // polynomial 0x1021, begins at 0xFFFF
	checkXmodem  = "crc16_xmodem"   // polynomial 0x1021, begins at 0
	checkKermit  = "crc16_kermit"   // polynomial 0x1021 reflected, begins at 0: ITU-T V.41
)

// Checks are the names of all check values.
var Checks = []string{checkNone, checkSum, checkNegated, checkXor, checkModbus, checkIBM, checkXmodem, checkKermit}

const (
	poly8005 = 0x8005
	poly1021 = 0x1021
	allOnes  = 0xFFFF
)

// checker computes one kind of check value.
type checker struct {
	bytes int // of the value: 0 none, 1 or 2
	of    func(p []byte) uint16
}

// newChecker returns the checker of a name; "" is none.
func newChecker(name string) (checker, bool) {
	switch name {
	case "", checkNone:
		return checker{}, true
	case checkSum:
		return checker{1, func(p []byte) uint16 { return uint16(sum8(p)) }}, true
	case checkNegated:
		return checker{1, func(p []byte) uint16 { return uint16(-sum8(p)) }}, true
	case checkXor:
		return checker{1, func(p []byte) uint16 {
			x := byte(0)
			for _, b := range p {
				x ^= b
			}
			return uint16(x)
		}}, true
	case checkModbus:
		return checker{2, reflectedCRC(poly8005, allOnes)}, true
	case checkKermit:
		return checker{2, reflectedCRC(poly1021, 0)}, true
	case checkIBM:
		return checker{2, forwardCRC(poly1021, allOnes)}, true
	case checkXmodem:
		return checker{2, forwardCRC(poly1021, 0)}, true
	}
	return checker{}, false
}

func sum8(p []byte) byte {
	s := byte(0)
	for _, b := range p {
		s += b
	}
	return s
}

// reflectedCRC takes the lowest bit of a byte first.
func reflectedCRC(poly, start uint16) func([]byte) uint16 {
	rev := bits.Reverse16(poly)
	var table [256]uint16
	for i := range table {
		c := uint16(i)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ rev
			} else {
				c >>= 1
			}
		}
		table[i] = c
	}
	return func(p []byte) uint16 {
		c := start
		for _, b := range p {
			c = c>>8 ^ table[byte(c)^b]
		}
		return c
	}
}

// forwardCRC takes the highest bit of a byte first.
func forwardCRC(poly, start uint16) func([]byte) uint16 {
	var table [256]uint16
	for i := range table {
		c := uint16(i) << 8
		for range 8 {
			if c&0x8000 != 0 {
				c = c<<1 ^ poly
			} else {
				c <<= 1
			}
		}
		table[i] = c
	}
	return func(p []byte) uint16 {
		c := start
		for _, b := range p {
			c = c<<8 ^ table[byte(c>>8)^b]
		}
		return c
	}
}

// CheckValue returns the check value of a name over p, and how many bytes it has; 0 when there is none of that name.
func CheckValue(name string, p []byte) (size int, value uint16) {
	c, ok := newChecker(name)
	if !ok || c.of == nil {
		return 0, 0
	}
	return c.bytes, c.of(p)
}
