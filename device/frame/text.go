package frame

import "tramd/sweep/units"

// TextFramer decodes one indicator reading a line:
//
//	[name or channel] [+|-] digits [. or , digits] [mm | in | um]
//
// Examples: "0.123", "-0,0125 mm", "arm: +0.00005 in", "1: 12.5 um". Without a unit the number is millimetres. A comma
// is a decimal comma, so "1,234" is 1.234; "1,234.5" is refused. Values are exact in nanometres wherever the number
// written is a whole number of them (0.00005 in is 1270 nm), else rounded to the nearest; 10 m is the limit.
type TextFramer struct {
	lines
	names names
}

// NewTextFramer makes a framer that takes the first byte for the start of a line.
func NewTextFramer() *TextFramer {
	f := &TextFramer{}
	f.parse, f.ends = f.line, &lineEnds
	f.width = widthOfText
	return f
}

func (t *TextFramer) line(b []byte) (Sample, fault) {
	fl, f := scanFields(b)
	if f != noFault {
		return Sample{}, f
	}
	unit := units.Millimetre
	if len(fl.unit) > 0 {
		if unit = lengthUnit(fl.unit); unit == 0 {
			return Sample{}, faultUnit
		}
	}
	nm, ok := fl.num.in(uint64(unit), uint64(units.MaxLength))
	if !ok {
		return Sample{}, faultRange
	}
	return Sample{Kind: Length, Value: nm, Channel: t.names.intern(fl.name)}, noFault
}

// lengthUnit knows the units of the wire, in either case; it is stricter than what people may write in a config.
func lengthUnit(u []byte) units.Length {
	switch string(u) {
	case "mm", "MM":
		return units.Millimetre
	case "in", "IN", "\"":
		return units.Inch
	case "um", "UM":
		return units.Micrometre
	}
	if microUnit(u) {
		return units.Micrometre
	}
	return 0
}
