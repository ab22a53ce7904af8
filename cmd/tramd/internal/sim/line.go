package sim

import (
	"math"
	"math/rand/v2"
	"strconv"
)

// display writes readings as an indicator with a given step shows them: "  +0.123 mm\r\n".
type display struct {
	stepMM   float64
	decimals int
}

func newDisplay(resolutionMM float64) display {
	if resolutionMM < 1e-6 {
		resolutionMM = 1e-6
	}
	d := display{stepMM: resolutionMM, decimals: 3}
	for scale := 1e3; d.decimals < 6 &&
		math.Abs(resolutionMM*scale-math.Round(resolutionMM*scale)) > 1e-9*scale*resolutionMM; scale *= 10 {
		d.decimals++
	}
	return d
}

func (d display) append(b []byte, mm float64) []byte {
	mm = math.Round(mm/d.stepMM) * d.stepMM
	b = append(b, "  "...)
	if mm >= 0 || math.Round(mm*1e6) == 0 {
		b = append(b, '+')
		mm = math.Abs(mm)
	}
	b = strconv.AppendFloat(b, mm, 'f', d.decimals, 64)
	return append(b, " mm\r\n"...)
}

// appendCount writes a count with its sign, always: a line cut short then never joins the next one to a good number.
func appendCount(b []byte, count int64) []byte {
	if count >= 0 {
		b = append(b, '+')
	}
	b = strconv.AppendInt(b, count, 10)
	return append(b, "\r\n"...)
}

// spoil damages a line the way a bad cable does. What comes of it never reads as a good number: a wrong value that
// looks right is another fault, and not this one.
func spoil(rng *rand.Rand, line []byte) []byte {
	switch text := len(line) - 2; rng.IntN(3) {
	case 0: // half a line, with no end: the next line runs into it
		return line[:max(text/2, 1)]
	case 1: // a few bytes in its midst overwritten
		at := rng.IntN(text)
		for i := at; i < min(at+3, text); i++ {
			line[i] = junk(rng)
		}
		// The first byte of a number too, or the tail alone might be taken for one.
		line[0] = junk(rng)
		return line
	default: // nothing but junk, as from a wrong baud rate
		for i := range line[:text] {
			line[i] = junk(rng)
		}
		return line
	}
}

func junk(rng *rand.Rand) byte { return byte(0x80 + rng.IntN(0x80)) }
