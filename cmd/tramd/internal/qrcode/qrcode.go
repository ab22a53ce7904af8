// Package qrcode draws addresses as QR codes (ISO/IEC 18004), so that a phone need not type them: for a page, for
// paper and for a terminal.
package qrcode

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// quiet is the margin in modules that the standard asks for.
const quiet = 4

// SVG returns an address as a picture; an error where it is too long for a code.
func SVG(address string) (string, error) {
	code, err := qr.Encode(address, qr.M)
	if err != nil {
		return "", fmt.Errorf("%q as a QR code: %w", address, err)
	}
	var path strings.Builder
	for y := range code.Size {
		for x := range code.Size {
			if code.Black(x, y) {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	side := code.Size + 2*quiet
	return fmt.Sprintf(
		`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path d="%s"/></svg>`,
		side, side, side, side, path.String()), nil
}

// Black on white whatever the terminal's own colours are (ECMA-48 SGR): many cameras read no inverted code.
const inkOnPaper, asBefore = "\x1b[38;5;16;48;5;231m", "\x1b[0m"

// Text returns an address as lines for a terminal, two modules one above the other in each character; an error where
// it is too long for a code.
func Text(address string) (string, error) {
	code, err := qr.Encode(address, qr.L) // the least redundancy, since a screen has no stains
	if err != nil {
		return "", fmt.Errorf("%q as a QR code: %w", address, err)
	}
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		b.WriteString(inkOnPaper)
		for x := -quiet; x < code.Size+quiet; x++ {
			b.WriteString(halves[[2]bool{code.Black(x, y), code.Black(x, y+1)}])
		}
		b.WriteString(asBefore + "\n")
	}
	return b.String(), nil
}

// halves are the characters by whether their upper and lower halves are black.
var halves = map[[2]bool]string{{false, false}: " ", {true, false}: "▀", {false, true}: "▄", {true, true}: "█"}
