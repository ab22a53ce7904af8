package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Length is a length in integer nanometres. Larger means the plunger is pushed further in, so the surface is nearer.
type Length int64

// Lengths that configurations, frames and people speak in.
const (
	Nanometre  Length = 1
	Micrometre        = 1000 * Nanometre
	Millimetre        = 1000 * Micrometre
	Thou              = 25400 * Nanometre
	Inch              = 1000 * Thou
)

// MaxLength bounds what a frame may claim: 10 m is longer than any indicator and far from overflow.
const MaxLength = 10_000 * Millimetre

// MM gives the length in millimetres.
func (l Length) MM() float64 { return float64(l) / float64(Millimetre) }

// Metres gives the length in metres.
func (l Length) Metres() float64 { return float64(l) / 1e9 }

// FromMM rounds a length in millimetres to the nearest nanometre. It refuses what is not finite or beyond MaxLength.
func FromMM(mm float64) (Length, error) {
	if math.IsNaN(mm) || math.Abs(mm) > MaxLength.MM() {
		return 0, fmt.Errorf("length %v mm is not a length an indicator can show", mm)
	}
	return Length(math.Round(mm * float64(Millimetre))), nil
}

// LengthUnit returns the size of a unit as it is written on a display or in a frame: mm, um, µm, in, thou or m.
func LengthUnit(name string) (Length, bool) {
	switch strings.ToLower(name) {
	case "mm":
		return Millimetre, true
	case "um", "µm", "μm":
		return Micrometre, true
	case "in", "inch", "\"":
		return Inch, true
	case "thou":
		return Thou, true
	case "nm":
		return Nanometre, true
	case "cm":
		return 10 * Millimetre, true
	case "m":
		return 1000 * Millimetre, true
	}
	return 0, false
}

// ParseLength reads what a person types: a number with a point or a comma, and a unit, or none for one in bare.
func ParseLength(s string, bare Length) (Length, error) {
	if strings.Count(s, ",") == 1 && !strings.Contains(s, ".") {
		s = strings.Replace(s, ",", ".", 1)
	}
	v, name, err := splitQuantity(s)
	if err != nil {
		return 0, fmt.Errorf("%w; write a reading such as 0.12, -3 um or 0.0005 in", err)
	}
	unit := bare
	if name != "" {
		var ok bool
		if unit, ok = LengthUnit(name); !ok {
			return 0, fmt.Errorf("%q is not a unit of length; write mm, um, in or thou", name)
		}
	}
	x := math.Round(v * float64(unit))
	if math.Abs(x) > float64(MaxLength) {
		return 0, fmt.Errorf("%s is longer than any indicator's travel; check its unit", strings.TrimSpace(s))
	}
	return Length(x), nil
}

// splitQuantity parts "0.02 mm" or "0.02mm" into its number and the rest.
func splitQuantity(s string) (float64, string, error) {
	s = strings.TrimSpace(s)
	end := 0
	for end < len(s) && strings.IndexByte("+-.0123456789eE", s[end]) >= 0 {
		// An e belongs to the number only when digits follow it.
		if (s[end] == 'e' || s[end] == 'E') && (end+1 >= len(s) || strings.IndexByte("+-0123456789", s[end+1]) < 0) {
			break
		}
		end++
	}
	v, err := strconv.ParseFloat(s[:end], 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, "", fmt.Errorf("%q does not begin with a number", s)
	}
	return v, strings.TrimSpace(s[end:]), nil
}
