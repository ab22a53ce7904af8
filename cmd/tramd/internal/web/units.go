package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// unit is how the shell writes a lean before any script runs: the tolerance's own unit. It says the same as
// assets/units.js.
type unit struct {
	label  string
	factor float64 // from mm/m
	digits int
}

var overSpan = regexp.MustCompile(`^\s*[0-9.]+\s*(mm|in|")?\s*/\s*([0-9.]+)\s*(mm|cm|m|in|")?\s*$`)

// unitOf returns the unit that a tolerance is written in: "0.02/300" is mm over 300 mm. One inch is 25.4 mm exactly
// (ISO 80000-3).
func unitOf(tolerance string) unit {
	if m := overSpan.FindStringSubmatch(tolerance); m != nil {
		span, err := strconv.ParseFloat(m[2], 64)
		if err == nil && span > 0 {
			inches := m[1] == "in" || m[1] == `"`
			to := map[string]string{"": "mm", `"`: "in"}
			name := m[3]
			if other, ok := to[name]; ok {
				name = other
			}
			long := span * map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4}[name]
			label := strconv.FormatFloat(span, 'f', -1, 64) + " " + name
			if inches {
				return unit{"in over " + label, long / 25400, 5}
			}
			return unit{"mm over " + label, long / 1000, 4}
		}
	}
	switch t := strings.TrimSpace(tolerance); {
	case strings.HasSuffix(t, "arcsec"):
		return unit{"arcsec", 648 / math.Pi, 1}
	case strings.HasSuffix(t, "mrad"):
		return unit{"mrad", 1, 3}
	}
	return unit{"mm/m", 1, 3}
}

// unitKey returns the key of the unit that the configuration asks for ([display] units), as assets/units.js has it.
func unitKey(units, tolerance string) string {
	switch units {
	case "mm":
		return "mm_per_m"
	case "arcsec":
		return "arcsec"
	case "inch":
		if m := overSpan.FindStringSubmatch(tolerance); m == nil || m[1] != "in" && m[1] != `"` {
			return "thou_ft"
		}
	}
	return "own"
}

// unitFor returns the unit of a key; the tolerance's own for any other.
func unitFor(key, tolerance string) unit {
	switch key {
	case "mm_per_m":
		return unit{"mm/m", 1, 3}
	case "arcsec":
		return unit{"arcsec", 648 / math.Pi, 1}
	case "thou_ft":
		return unit{"thou/ft", 12, 2}
	}
	return unitOf(tolerance)
}

// decimals returns enough decimals that the half width does not read as nought, two more at most.
func (u unit) decimals(half float64) int {
	d := u.digits
	for half > 0 && d < u.digits+2 && half*u.factor*math.Pow10(d) < 1 {
		d++
	}
	return d
}

func (u unit) signed(mmPerM, half float64) string {
	text := strconv.FormatFloat(math.Abs(mmPerM*u.factor), 'f', u.decimals(half), 64)
	if x, _ := strconv.ParseFloat(text, 64); x == 0 { // it was written a line ago
		return text
	}
	if mmPerM < 0 {
		return "−" + text
	}
	return "+" + text
}

// expanded rounds a half width up, never down.
func (u unit) expanded(half float64) string {
	p := math.Pow10(u.decimals(half))
	return strconv.FormatFloat(math.Ceil(half*u.factor*p-1e-9)/p, 'f', u.decimals(half), 64)
}
