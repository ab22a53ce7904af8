package units

import (
	"fmt"
	"strings"
)

// Tolerance is the largest lean allowed on either axis, with the words it was given in.
type Tolerance struct {
	Limit Slope  // positive; zero means no tolerance was given
	Text  string // as written: "0.02/300"
	Span  Length // the span of "0.02/300", zero when given as an angle
}

// Given reports whether there is a tolerance to judge by.
func (t Tolerance) Given() bool { return t.Limit > 0 }

func (t Tolerance) String() string { return t.Text }

// toleranceForms is what an error tells the reader to write.
const toleranceForms = `write it as "0.02/300" (mm over mm), "0.001 in/12 in", "0.1 mrad", "20 arcsec" or "0.07 mm/m"`

// ParseTolerance reads a tolerance: a rise over a span (mm unless units are written), an angle, or a slope.
// The empty string means none.
func ParseTolerance(text string) (Tolerance, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return Tolerance{}, nil
	}
	t := Tolerance{Text: text}
	rise, span, isRatio := strings.Cut(text, "/")
	var err error
	if isRatio {
		t.Limit, t.Span, err = parseRatio(rise, span)
	} else {
		t.Limit, err = parseAngle(text)
	}
	if err != nil {
		return Tolerance{}, fmt.Errorf("tolerance %q: %w; %s", text, err, toleranceForms)
	}
	if t.Limit <= 0 || t.Limit > 0.1 {
		return Tolerance{}, fmt.Errorf("tolerance %q: must be more than 0 and at most 100 mm/m; %s", text,
			toleranceForms)
	}
	return t, nil
}

func parseRatio(rise, span string) (Slope, Length, error) {
	num, numUnit, err := splitQuantity(rise)
	if err != nil {
		return 0, 0, err
	}
	top, err := unitOrMM(numUnit)
	if err != nil {
		return 0, 0, err
	}
	span = strings.TrimSpace(span)
	if per, ok := LengthUnit(span); ok { // "0.07 mm/m": a slope, no span of its own
		return Slope(num * float64(top) / float64(per)), 0, nil
	}
	den, denUnit, err := splitQuantity(span)
	if err != nil {
		return 0, 0, err
	}
	// "0.001/12 in" means both are inches: a lone unit at the end speaks for the whole.
	bottom, err := unitOrMM(denUnit)
	if err != nil {
		return 0, 0, err
	}
	if numUnit == "" {
		top = bottom
	}
	if den <= 0 || den > 1e6 {
		return 0, 0, fmt.Errorf("the span must be a positive length")
	}
	return Slope(num * float64(top) / (den * float64(bottom))), Length(den * float64(bottom)), nil
}

func unitOrMM(name string) (Length, error) {
	if name == "" {
		return Millimetre, nil
	}
	if u, ok := LengthUnit(name); ok {
		return u, nil
	}
	return 0, fmt.Errorf("unknown unit %q", name)
}

func parseAngle(text string) (Slope, error) {
	v, unit, err := splitQuantity(text)
	if err != nil {
		return 0, err
	}
	switch strings.ToLower(unit) {
	case "rad":
		return Slope(v), nil
	case "mrad":
		return Slope(v) * MRadian, nil
	case "urad", "µrad", "μrad":
		return Slope(v) * 1e-6, nil
	case "arcsec", "\"", "″":
		return Slope(v) * Arcsec, nil
	case "arcmin", "'", "′":
		return Slope(v) * 60 * Arcsec, nil
	case "deg", "°":
		return Slope(v) * 3600 * Arcsec, nil
	case "":
		return 0, fmt.Errorf("a bare number says no span and no unit")
	}
	return 0, fmt.Errorf("unknown unit %q", unit)
}
