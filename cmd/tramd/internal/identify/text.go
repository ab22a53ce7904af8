package identify

import (
	"bytes"
	"fmt"
	"strings"
)

// textGuesses takes what came for lines of text: of the plain form first, then of one that is read off the lines.
func textGuesses(h Heard) []guess {
	data := h.data()
	if len(data) == 0 {
		return nil
	}
	var out []guess
	for _, end := range lineEnds(data) {
		lines := split(data, end)
		if len(lines) < leastReadings {
			continue
		}
		if end == "" && looksPlain(lines) {
			out = append(out, guess{what: "text", table: "frame = \"text\"\n", rank: 40})
		}
		if g, ok := formOf(lines, end); ok {
			out = append(out, g)
		}
	}
	return out
}

// lineEnds lists what may end a line: CR and LF (""), or a control or mark that comes again and again.
func lineEnds(data []byte) []string {
	var n [256]int
	for _, c := range data {
		n[c]++
	}
	if n['\r']+n['\n'] >= leastReadings {
		return []string{""}
	}
	var out []string
	for _, c := range []byte("\x03\x04\x17;!#$*/|&") {
		if n[c] >= leastReadings {
			out = append(out, string(rune(c)))
		}
	}
	return out
}

// split returns the whole lines that hold something. The first was joined in the middle, the last is not at its end.
func split(data []byte, end string) []string {
	if end == "" {
		end = "\r\n"
	}
	parts := bytes.FieldsFunc(data, func(c rune) bool { return strings.ContainsRune(end, c) })
	if len(parts) < 3 {
		return nil
	}
	if !strings.ContainsRune(end, rune(data[len(data)-1])) {
		parts = parts[:len(parts)-1]
	}
	var out []string
	for _, p := range parts[1:] {
		if len(bytes.TrimSpace(p)) > 0 {
			out = append(out, string(p))
		}
	}
	return out
}

// looksPlain: readings have a decimal point. Bare whole numbers are no millimetres.
func looksPlain(lines []string) bool {
	for _, l := range lines {
		if !strings.ContainsAny(l, ".,") {
			return false
		}
	}
	return true
}

// tokenKind is a part of a line.
type tokenKind byte

const (
	number tokenKind = 'n'
	word   tokenKind = 'w'
	blanks tokenKind = ' '
	mark   tokenKind = 'm'
)

type token struct {
	kind tokenKind
	text string
	end  int
}

func tokens(l string) []token {
	var out []token
	for i := 0; i < len(l); {
		j := i
		kind := mark
		switch c := l[i]; {
		case c == ' ' || c == '\t':
			for j < len(l) && (l[j] == ' ' || l[j] == '\t') {
				j++
			}
			kind = blanks
		case numberAt(l, i) > i:
			j, kind = numberAt(l, i), number
		case isLetter(c):
			for j < len(l) && isLetter(l[j]) {
				j++
			}
			kind = word
		default:
			j++
		}
		out = append(out, token{kind, l[i:j], j})
		i = j
	}
	return out
}

func isLetter(c byte) bool {
	return c|0x20 >= 'a' && c|0x20 <= 'z' || c == '"' || c == '_' || c >= 0x80
}
func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// numberAt returns the end of the number that begins at i, or i.
func numberAt(l string, i int) int {
	j := i
	if l[j] == '+' || l[j] == '-' {
		for j++; j < len(l) && l[j] == ' '; j++ {
		}
	}
	digits, points := 0, 0
	for ; j < len(l); j++ {
		switch {
		case isDigit(l[j]):
			digits++
		case (l[j] == '.' || l[j] == ',') && points == 0 && j+1 < len(l) && isDigit(l[j+1]):
			points++
		default:
			if digits == 0 {
				return i
			}
			return j
		}
	}
	if digits == 0 {
		return i
	}
	return j
}

// otherUnits are of quantities that no indicator shows.
var otherUnits = map[string]bool{"C": true, "F": true, "K": true, "V": true, "mV": true, "A": true, "mA": true,
	"kg": true, "g": true, "Hz": true,
	"s": true, "ms": true, "min": true, "rpm": true, "RPM": true, "bar": true, "Pa": true, "hPa": true, "N": true,
	"Nm": true, "W": true, "deg": true, "dB": true, "l": true}

// lengthUnits are the spellings that a table must explain, and those that need none.
var lengthUnits = map[string]string{"mm": "", "MM": "", "in": "", "IN": "", "um": "", "UM": "", "\"": "", "\u00b5m": "",
	"\xb5m": "",
	"Mm":    "mm", "inch": "in", "INCH": "in", "Inch": "in", "In": "in"}

func quoteForm(s string) string {
	var b strings.Builder
	for _, c := range []byte(s) {
		switch {
		case strings.IndexByte("[]{}\\", c) >= 0:
			b.WriteString("\\" + string(rune(c)))
		case c < ' ' || c > '~':
			fmt.Fprintf(&b, "\\x%02X", c)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

func literal(s string) string { return "'" + s + "'" }
