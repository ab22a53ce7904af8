package sweep

import (
	"bytes"
	"math"
	"strconv"
)

// pow10 holds the powers of ten that a float64 has exactly.
var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
	1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// scanDecimal reads the plain decimal number that b begins with, correctly rounded, and gives how many bytes it takes;
// 0 where there is none, or one that this cannot do. Digits that fit 53 bits over an exact power of ten give the
// nearest float64 by one division (Clinger, "How to read floating point numbers accurately", 1990).
func scanDecimal(b []byte) (v float64, used int) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		i++
	}
	var digits uint64
	first, point := i, -1
	for ; i < len(b); i++ {
		c := b[i]
		if d := c - '0'; d <= 9 {
			digits = digits*10 + uint64(d)
			continue
		}
		if c != '.' || point >= 0 {
			break
		}
		point = i
	}
	count, places := i-first, 0
	if point >= 0 {
		count--
		places = i - point - 1
	}
	if count == 0 || count > 18 || digits > 1<<53 { // 18 digits cannot wrap round 64 bits
		return 0, 0
	}
	v = float64(digits)
	if places > 0 {
		v /= pow10[places]
	}
	if negative {
		v = -v
	}
	return v, i
}

// parseDecimal reads a field that is a decimal number, correctly rounded, and refuses everything else: no hexadecimal,
// no infinity, no NaN. What scanDecimal cannot do is left to the library.
func parseDecimal(b []byte) (float64, bool) {
	if v, n := scanDecimal(b); n == len(b) && n > 0 {
		return v, true
	}
	return parseSlow(b)
}

func parseSlow(b []byte) (float64, bool) {
	for _, c := range b {
		if (c < '0' || c > '9') && c != '+' && c != '-' && c != '.' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// trimField takes off the spaces and the quotes that other programs put round a field.
func trimField(b []byte) []byte {
	b = bytes.TrimSpace(b)
	if n := len(b); n >= 2 && b[0] == '"' && b[n-1] == '"' {
		b = b[1 : n-1]
	}
	return b
}

func blank(line []byte) bool {
	for _, c := range line {
		if c != ' ' && c != '\t' {
			return false
		}
	}
	return true
}
