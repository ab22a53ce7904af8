package frame

import (
	"fmt"
	"strconv"
)

// unescape turns the escapes of a text into bytes: \r \n \t \\ and \x02. TOML knows some of them too; these also work
// between single quotes, and reach bytes that are no text.
func unescape(s string) (string, error) {
	var out []byte
	for i := 0; i < len(s); {
		if s[i] != '\\' {
			out = append(out, s[i])
			i++
			continue
		}
		b, n, err := escaped(s[i:])
		if err != nil {
			return "", err
		}
		out = append(out, b)
		i += n
	}
	return string(out), nil
}

// escaped reads one escape at the front of s, and gives how long it is.
func escaped(s string) (byte, int, error) {
	if len(s) >= 2 {
		switch c := s[1]; c {
		case 'r':
			return '\r', 2, nil
		case 'n':
			return '\n', 2, nil
		case 't':
			return '\t', 2, nil
		case '\\', '[', ']', '{', '}':
			return c, 2, nil
		case 'x':
			if len(s) >= 4 {
				if v, err := strconv.ParseUint(s[2:4], 16, 8); err == nil {
					return byte(v), 4, nil
				}
			}
		}
	}
	return 0, 0, fmt.Errorf(`%.4q is no escape; write \r, \n, \t, \x02 for a byte, or \\ for the sign itself`, s)
}
