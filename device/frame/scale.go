package frame

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"

	"tramd/sweep/units"
)

// scale is the length of one count, exactly: num/den nanometres. It is written as a length ("0.001 mm", "0.00005 in")
// or as a length and the counts that make it ("1 in / 65536"). A minus sign turns the direction round, for an indicator
// that counts down as its plunger is pushed in.
type scale struct {
	num, den uint64
	neg      bool
}

const scaleCure = `write the length of one count, for example "0.001 mm", or a length and its counts, for example "1 in / 65536"`

func parseScale(text string) (scale, error) {
	length, counts, divided := strings.Cut(text, "/")
	d, rest, f := scanDecimal([]byte(strings.TrimSpace(length)))
	unit, known := units.LengthUnit(strings.TrimSpace(string(rest)))
	if f != noFault || !known {
		return scale{}, fmt.Errorf("%q is not a scale; %s", text, scaleCure)
	}
	s := scale{den: 1, neg: d.neg}
	if divided {
		n, err := strconv.ParseUint(strings.TrimSpace(counts), 10, 64)
		if err != nil || n == 0 || n > 1<<40 {
			return scale{}, fmt.Errorf("%q: the counts are a whole number from 1 to 2^40; %s", text, scaleCure)
		}
		s.den = n
	}
	hi, num := bits.Mul64(d.mant, uint64(unit))
	over, den := bits.Mul64(pow10[d.frac], s.den)
	if hi != 0 || over != 0 || den > math.MaxInt64 {
		return scale{}, fmt.Errorf("%q has more digits than can be kept; round it", text)
	}
	if num == 0 || num/den > uint64(units.MaxLength) {
		return scale{}, fmt.Errorf("%q: a count of that length is none; %s", text, scaleCure)
	}
	g := gcd(num, den)
	s.num, s.den = num/g, den/g
	return s, nil
}

func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// length returns so many counts in nanometres, rounded half away from zero. It fails beyond units.MaxLength.
func (s scale) length(count int64) (int64, bool) {
	neg := s.neg != (count < 0)
	size := uint64(count)
	if count < 0 {
		size = -size
	}
	hi, lo := bits.Mul64(size, s.num)
	if hi >= s.den {
		return 0, false
	}
	q, r := bits.Div64(hi, lo, s.den)
	if r >= s.den-r {
		q++
	}
	if q > uint64(units.MaxLength) {
		return 0, false
	}
	if neg {
		return -int64(q), true
	}
	return int64(q), true
}

// lengthOf is length for a value that is itself a fraction. It fails on what is not finite.
func (s scale) lengthOf(value float64) (int64, bool) {
	nm := math.Round(value * (float64(s.num) / float64(s.den)))
	if s.neg {
		nm = -nm
	}
	if !(math.Abs(nm) <= float64(units.MaxLength)) {
		return 0, false
	}
	return int64(nm), true
}
