// Package display writes figures in the units that the configuration asks for ([display] units). All of the program
// computes and stores millimetres and mm/m, and its sentences are made with them; they are turned into other units
// here, in one place, just before a person reads them. What programs read (JSON, CSV, metrics) never comes this way.
package display

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Units are how leans and lengths are written. The zero Units are mm/m and mm.
type Units struct {
	label  string  // of a lean; empty: mm/m
	factor float64 // from mm/m
	inch   bool    // lengths are in inches
}

// Names are what a configuration may ask for; the first is what it means to ask for nothing.
func Names() []string { return []string{"mm", "inch", "arcsec"} }

// Of returns the units of a name. Leans in inches are over the span of a tolerance that is written in inches, such as
// "0.001 in/12 in", else in thousandths of an inch over a foot. One inch is 25.4 mm exactly (ISO 80000-3), a full turn
// 1 296 000 seconds of arc.
func Of(name, tolerance string) (Units, error) {
	switch name {
	case "", "mm":
		return Units{}, nil
	case "arcsec":
		return Units{label: "arcsec", factor: 648 / math.Pi}, nil
	case "inch":
		if m := inInches.FindStringSubmatch(tolerance); m != nil {
			if span, err := strconv.ParseFloat(m[1], 64); err == nil && span > 0 {
				unit := strings.Replace(m[2], `"`, "in", 1)
				if unit == "" {
					unit = "mm"
				}
				long := span * map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4}[unit]
				return Units{label: fmt.Sprintf("in over %s %s", m[1], unit), factor: long / 25400, inch: true}, nil
			}
		}
		return Units{label: "thou/ft", factor: 12, inch: true}, nil
	}
	return Units{}, fmt.Errorf("%q; write one of %s", name, strings.Join(Names(), ", "))
}

var inInches = regexp.MustCompile(`^\s*[0-9.]+\s*(?:in|")\s*/\s*([0-9.]+)\s*(mm|cm|m|in|")?\s*$`)

// Lean is the unit of leans.
func (u Units) Lean() string {
	if u.label == "" {
		return "mm/m"
	}
	return u.label
}

const number = `[+−-]?\d+(?:\.\d+)?`

// A figure or several before one unit, and one that follows it without a unit of its own: "tilt 0.1 ± 0.2, nod 0.3
// mm/m", "tilt 0.1 mm/m ± 0.2".
var (
	leans = regexp.MustCompile(number + `(?:(?: to | ± ?| and |,? +nod +(?:of )?|, expanded )` + number + `)* mm/m\b` +
		`(?:(?: ± ?| \(standard uncertainty )` + number + `(?: mm/m\b)?)?`)
	lengths = regexp.MustCompile(number + `(?:(?: to | ± ?| and |, )` + number + `)* mm\b(?:(?: ± ?|, at most )` +
		number + `(?: mm\b)?)?`)
	numbers = regexp.MustCompile(number)
)

// Scaled returns a lean of x mm/m in these units, and how many decimals it needs where it has so many in mm/m.
func (u Units) Scaled(x float64, decimals int) (float64, int) {
	if u.label == "" {
		return x, decimals
	}
	return x * u.factor, decimalsOf(decimals, u.factor)
}

// Words writes a text of the program in these units.
func (u Units) Words(text string) string {
	if u.label == "" {
		return text
	}
	text = each(leans, text, " per mm", func(piece string) string {
		return strings.ReplaceAll(scaled(piece, u.factor), "mm/m", u.label)
	})
	if !u.inch {
		return text
	}
	return each(lengths, text, "/", func(piece string) string {
		return strings.ReplaceAll(scaled(piece, 1/25.4), "mm", "in")
	})
}

// each replaces what matches, unless the text goes on with but.
func each(what *regexp.Regexp, text, but string, with func(string) string) string {
	var b strings.Builder
	from := 0
	for _, at := range what.FindAllStringIndex(text, -1) {
		b.WriteString(text[from:at[0]])
		from = at[1]
		if strings.HasPrefix(text[at[1]:], but) {
			b.WriteString(text[at[0]:at[1]])
			continue
		}
		b.WriteString(with(text[at[0]:at[1]]))
	}
	return b.String() + text[from:]
}

// Figures writes figures in mm/m that stand without their unit, as in a table whose head has it.
func (u Units) Figures(text string) string {
	if u.label == "" {
		return text
	}
	return scaled(text, u.factor)
}

// scaled multiplies each number of a text and keeps about as many figures as it had.
func scaled(text string, factor float64) string {
	return numbers.ReplaceAllStringFunc(text, func(n string) string {
		size := strings.TrimLeft(n, "+−-")
		x, err := strconv.ParseFloat(size, 64)
		if err != nil { // longer than any figure of ours
			return n
		}
		_, fraction, _ := strings.Cut(size, ".")
		return n[:len(n)-len(size)] + strconv.FormatFloat(x*factor, 'f', decimalsOf(len(fraction), factor), 64)
	})
}

// decimalsOf returns how many decimals a figure keeps that is multiplied by factor.
func decimalsOf(n int, factor float64) int {
	return min(7, max(0, n-int(math.Floor(math.Log10(factor)))))
}

// Writer writes texts to w in these units. A figure and its unit must come in one piece.
func (u Units) Writer(w io.Writer) io.Writer {
	if u.label == "" {
		return w
	}
	return writer{u, w}
}

// Behind returns the units that a Writer writes in and what it writes to; for any other writer, no units and itself.
func Behind(w io.Writer) (Units, io.Writer) {
	if d, ok := w.(writer); ok {
		return d.units, d.to
	}
	return Units{}, w
}

type writer struct {
	units Units
	to    io.Writer
}

func (w writer) Write(p []byte) (int, error) {
	if _, err := io.WriteString(w.to, w.units.Words(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}
