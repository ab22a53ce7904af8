package frame

// maxName caps a channel name within a line.
const maxName = 32

// fields is a line taken apart: an optional name or channel, a number, and what follows the number.
type fields struct {
	name []byte
	num  decimal
	unit []byte
}

// scanFields takes a trimmed line apart. Three shapes of name are known, each as strict as it takes to tell it from a
// damaged number:
//
//	arm 0.123   arm: 0.123   arm=0.123   a word, then blanks or one of : and =
//	A+0.123                              a word run into a signed number, which must have a decimal point
//	1: 0.123    1:+0.123     1=0.123     up to three digits; after a colon a blank or a sign, or it reads as a time
func scanFields(b []byte) (fl fields, f fault) {
	high := false
	for _, c := range b {
		if c < ' ' && c != '\t' || c == 0x7f {
			return fl, faultNotText
		}
		high = high || c >= 0x80
	}
	fl, f = scanAscii(b)
	// Only the micro sign of a unit lies beyond ASCII. A name or a number that does is not text at all.
	if high && (f != noFault || !microUnit(fl.unit)) {
		f = faultNotText
	}
	return fl, f
}

func scanAscii(b []byte) (fl fields, f fault) {
	var runOn bool
	fl.name, b, runOn, f = scanName(b)
	if f != noFault {
		return fl, f
	}
	fl.num, b, f = scanDecimal(b)
	if f != noFault {
		return fl, f
	}
	if runOn && !fl.num.point {
		return fl, faultGarbage
	}
	fl.unit = trim(b)
	for _, c := range fl.unit {
		if digit(c) || sign(c) || point(c) {
			return fl, faultNumber // "0x1f", "1e3", "1 234.5": more than one number, or one we do not speak
		}
	}
	return fl, noFault
}

// scanName reads an optional name and its separator off the front of b. runOn says that there was no separator.
func scanName(b []byte) (name, rest []byte, runOn bool, f fault) {
	n := 0
	for n < len(b) && (letter(b[n]) || digit(b[n]) || b[n] == '_') {
		n++
	}
	if n == 0 || n == len(b) {
		if n > 0 && !digit(b[0]) {
			return nil, b, false, faultGarbage // a lone word
		}
		return nil, b, false, noFault
	}
	name = b[:n]
	rest = b[n:]
	for len(rest) > 0 && blank(rest[0]) {
		rest = rest[1:]
	}
	mark := byte(0)
	if len(rest) > 0 && (rest[0] == ':' || rest[0] == '=') {
		mark = rest[0]
		rest = rest[1:]
	}
	if digit(name[0]) {
		if mark == 0 {
			return nil, b, false, noFault // not a channel but the number itself
		}
		if !allDigits(name) || n > 3 || len(rest) == 0 || mark == ':' && !blank(rest[0]) && !sign(rest[0]) {
			return nil, b, false, faultNumber
		}
	}
	runOn = mark == 0 && len(rest) == len(b)-n
	for len(rest) > 0 && blank(rest[0]) {
		rest = rest[1:]
	}
	switch {
	case n > maxName, len(rest) == 0, runOn && !sign(rest[0]):
		return nil, b, false, faultGarbage
	case statusWord(name):
		return nil, b, false, faultStatus
	}
	return name, rest, runOn, noFault
}

func allDigits(b []byte) bool {
	for _, c := range b {
		if !digit(c) {
			return false
		}
	}
	return true
}

// statusWord tells the words with which instruments announce their own state, and a number after them, from the
// names of channels: "err 3" must not become a reading of 3 mm.
func statusWord(name []byte) bool {
	var low [maxName]byte
	for i, c := range name {
		low[i] = c
		if letter(c) {
			low[i] = c | 0x20
		}
	}
	switch string(low[:len(name)]) {
	case "err", "error", "fault", "fail", "failed", "alarm", "warn", "warning", "bat", "batt", "battery",
		"overflow", "overrange", "ovf", "ovl", "ol", "underflow", "nan", "inf",
		"version", "ver", "rev", "serial", "sn", "temp", "temperature":
		return true
	}
	return false
}

// microUnit reports whether a unit is written with a micro sign: U+00B5 or U+03BC in UTF-8, or 0xB5 in Latin-1.
func microUnit(u []byte) bool {
	switch string(u) {
	case "\u00b5m", "\u03bcm", "\xb5m":
		return true
	}
	return false
}
