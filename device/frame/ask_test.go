package frame

import (
	"fmt"
	"strings"
	"testing"
)

func TestParseRequest(t *testing.T) {
	for in, want := range map[string]string{`?\r`: "?\r", "?\r": "?\r", `hex: 3F 0d`: "?\r", `\x05`: "\x05",
		`a\\b\n`: "a\\b\n"} {
		if got, err := ParseRequest(in); err != nil || got != want {
			t.Errorf("%q: %q, %v; want %q", in, got, err, want)
		}
	}
	for _, in := range []string{"", "hex:", "hex: 3", "hex: xy", `\q`, `\x1`, strings.Repeat("a", 257)} {
		if got, err := ParseRequest(in); err == nil {
			t.Errorf("%q was taken as %q", in, got)
		}
	}
}

func FuzzParseRequest(f *testing.F) {
	f.Add(`?\r`)
	f.Add("hex: 3F")
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseRequest(s)
		if err == nil && (got == "" || len(got) > MaxRequest) {
			t.Errorf("%q gives %d bytes", s, len(got))
		}
		// What was read can be written in hexadecimal and read again.
		if err == nil {
			again, err := ParseRequest(fmt.Sprintf("hex:%X", got))
			if err != nil || again != got {
				t.Errorf("%q: %q, %v", s, again, err)
			}
		}
	})
}
