package portlist

import (
	"io"
	"os"
	"strings"
	"unicode"
)

// longest is more than an attribute ever holds (one page).
const longest = 4096

// attribute reads one small file of the kernel's. Texts in it may come from whatever was plugged in, so nothing that
// would steer a terminal is let through. Empty when it cannot be read.
func attribute(path string) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, longest))
	if err != nil {
		return ""
	}
	return clean(string(text))
}

func clean(s string) string {
	return strings.TrimSpace(strings.Map(func(c rune) rune {
		if c == '\n' || c == '\t' {
			return ' '
		}
		if !unicode.IsPrint(c) || c == unicode.ReplacementChar {
			return '?'
		}
		return c
	}, s))
}
