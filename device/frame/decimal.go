package frame

import "math/bits"

// decimal is a signed decimal number as it was written: (-1)^neg * mant / 10^frac.
type decimal struct {
	neg    bool
	signed bool // it has a sign, or is said to
	point  bool
	mant   uint64
	frac   int
}

const maxDigits = 18 // significant digits, and decimals: the most that a uint64 holds with room to multiply by ten

var pow10 = func() (p [maxDigits + 1]uint64) {
	p[0] = 1
	for i := 1; i < len(p); i++ {
		p[i] = 10 * p[i-1]
	}
	return
}()

func digit(c byte) bool  { return c-'0' <= 9 }
func letter(c byte) bool { return (c|0x20)-'a' <= 'z'-'a' }
func sign(c byte) bool   { return c == '+' || c == '-' }
func point(c byte) bool  { return c == '.' || c == ',' }

// scanDecimal reads one number off the front of b: an optional sign, which a fixed-width display may set apart from
// its digits, then digits with at most one point or comma. Digits must follow the point: "5." is taken for a number
// that lost its end.
func scanDecimal(b []byte) (d decimal, rest []byte, f fault) {
	if len(b) > 0 && sign(b[0]) {
		d.neg, d.signed = b[0] == '-', true
		b = b[1:]
		for len(b) > 0 && blank(b[0]) {
			b = b[1:]
		}
		if len(b) == 0 || sign(b[0]) {
			return d, b, faultNumber
		}
	}
	if len(b) == 0 || !digit(b[0]) && !point(b[0]) {
		return d, b, faultGarbage
	}
	significant := 0
	last := byte(0)
	for len(b) > 0 {
		c := b[0]
		switch {
		case digit(c):
			if d.mant > 0 || c != '0' {
				significant++
			}
			if d.point {
				d.frac++
			}
			if significant > maxDigits || d.frac > maxDigits {
				if d.point {
					return d, b, faultNumber
				}
				return d, b, faultRange
			}
			d.mant = 10*d.mant + uint64(c-'0')
		case point(c):
			if d.point {
				return d, b, faultNumber
			}
			d.point = true
		default:
			if point(last) {
				return d, b, faultNumber
			}
			return d, b, noFault
		}
		last = c
		b = b[1:]
	}
	if point(last) {
		return d, b, faultNumber
	}
	return d, b, noFault
}

// in returns the number times the unit, exactly where the result is whole and else rounded half away from zero; it
// fails when the size of the result exceeds limit.
func (d decimal) in(unit, limit uint64) (int64, bool) {
	hi, lo := bits.Mul64(d.mant, unit)
	div := pow10[d.frac]
	if hi >= div {
		return 0, false
	}
	q, r := bits.Div64(hi, lo, div)
	if r >= div-r {
		q++
	}
	if q > limit {
		return 0, false
	}
	if d.neg {
		return -int64(q), true
	}
	return int64(q), true
}
