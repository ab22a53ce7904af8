package config

import "strings"

// encoder checks what an encoder may have beside counts.
func (v *validator) encoder(a *Angle) {
	if a.Pulses != 0 {
		v.bad("angle.pulses_per_turn",
			`an encoder counts, and says which way it turns; remove it, or write source = "steady" for a wheel with a few pulses`)
	}
	v.counterBits("angle.counter_bits", a.CounterBits)
	_, spindle := v.at["angle.spindle_teeth"]
	if _, encoder := v.at["angle.encoder_teeth"]; spindle != encoder {
		v.bad("angle.spindle_teeth", "a gear has two wheels; write spindle_teeth and encoder_teeth, or neither")
	} else if spindle {
		v.whole("angle.spindle_teeth", a.SpindleTeeth, 1, 100000)
		v.whole("angle.encoder_teeth", a.EncoderTeeth, 1, 100000)
	}
	if a.IndexMark == "" {
		if a.IndexDeg != nil || a.IndexToleranceDeg != 0 {
			v.bad("angle.index_mark",
				`missing; write the word the encoder's line carries at its index, for example index_mark = "index"`)
		}
		return
	}
	v.markWord(a.IndexMark)
	v.indexMark(a)
}

// counterBits checks the width at which a counter wraps.
func (v *validator) counterBits(path string, bits int) {
	switch bits {
	case 0, 16, 24, 32:
	default:
		v.bad(
			path,
			"%d is not the width of a counter tramd knows; write 16, 24 or 32, or leave it out for one that wraps after a turn or counts on", bits)
	}
}

// markWord checks the word in a line for the index mark.
func (v *validator) markWord(word string) {
	if word == "" {
		return
	}
	if len(word) > 16 || strings.ContainsAny(word, "0123456789+-., \t") || word == "deg" || !printable(word) {
		v.bad("angle.index_mark",
			"%q; write a word of up to 16 characters without digits, signs, points or blanks, for example \"index\"",
			word)
	}
}

// indexMark checks what hangs on it.
func (v *validator) indexMark(a *Angle) {
	v.optional("angle.index_tolerance_deg", a.IndexToleranceDeg, 0.001, 90)
	if a.IndexDeg != nil {
		v.number("angle.index_deg", *a.IndexDeg, -360, 360)
		if a.SpindleTeeth != a.EncoderTeeth {
			v.bad("angle.index_deg",
				"a geared encoder passes its index at several spindle angles, so it cannot say one; remove index_deg (lost counts are still noticed)")
		}
	}
}

func printable(s string) bool {
	for _, c := range []byte(s) {
		if c <= ' ' || c > '~' {
			return false
		}
	}
	return true
}
