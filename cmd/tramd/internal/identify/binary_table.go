package identify

import (
	"fmt"
	"strings"
)

// binaryGuess writes a layout as a table of the configuration.
func (w window) binaryGuess(l layout, h Heard) guess {
	var words []string
	for i := 0; i < w.size; i++ {
		switch {
		case i == l.channelAt:
			words = append(words, "ch")
		case i == l.from:
			words = append(words, "value")
			i = l.to - 1
		case i == l.checkAt:
			words = append(words, "check")
			i = l.checkEnd - 1
		case w.constant(i):
			words = append(words, fmt.Sprintf("%02X", w.frames[0][i]))
		default:
			words = append(words, "--")
		}
	}
	g := guess{what: "counts in bytes", rank: 20}
	var t strings.Builder
	fmt.Fprintf(&t, "[indicator.binary]\nlayout = %q\nbits = %d\n", strings.Join(words, " "), 8*(l.to-l.from))
	if l.to-l.from > 1 {
		fmt.Fprintf(&t, "order = %q\n", map[bool]string{true: "high_first", false: "low_first"}[l.high])
	}
	fmt.Fprintf(&t, "sign = %q\nscale = \"0.001 mm\"     # a guess\n", l.sign)
	g.notes = append(
		g.notes, "how long a count is cannot be heard: scale is a guess; move the plunger by a known way and compare")
	if l.checkAt >= 0 {
		g.what += ", with a check value"
		g.rank = 36 + float64(l.checkEnd-l.checkAt)
		fmt.Fprintf(&t, "check = %q\n", l.check)
		if l.checkFrom > 0 {
			fmt.Fprintf(&t, "check_from = %d\n", l.checkFrom)
		}
		if l.checkHigh {
			t.WriteString("check_order = \"high_first\"\n")
		}
	}
	if l.lead == 0 {
		fmt.Fprintf(&t, "gap_ms = %d\n", gapMS(h))
	} else if w.gap {
		g.rank++
	}
	values := w.values(l)
	low, high := values[0], values[0]
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	if low >= 0 || high < 0 {
		g.notes = append(g.notes, "the count never passed zero, so the sign is a guess: let it pass zero and try again")
	}
	if b, ok := w.mayBeHigher(l); ok {
		g.notes = append(g.notes, fmt.Sprintf(
			"the byte %02X beside the count never changed and may be its highest: if readings jump or stop further on, move the plunger over more of its travel and try again", b))
	}
	g.table = t.String()
	return g
}

// gapMS is half of the least silence between bursts.
func gapMS(h Heard) int {
	last, least := -1.0, 1000.0
	for _, c := range h.Chunks {
		at := c.At.Seconds() * 1000
		if gap := at - last; last >= 0 && gap >= 5 {
			least = min(least, gap)
		}
		last = at
	}
	return max(5, min(100, int(least/2)))
}

// mayBeHigher returns a fixed byte that lies where one above the count would, and is as small, or as near to all bits
// set, as the highest byte of a count that has not moved far.
func (w window) mayBeHigher(l layout) (b byte, may bool) {
	i := l.to
	if l.high {
		i = l.from - 1
	}
	if i < 1 || i >= w.size || i == l.channelAt || i == l.checkAt || !w.constant(i) {
		return 0, false
	}
	b = w.frames[0][i]
	return b, b > 0 && b < 0x10 || b >= 0xF0 && b < 0xFF
}
