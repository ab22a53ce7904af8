package identify

import (
	"strings"
	"testing"
	"time"

	"tramd/device/serialport"
)

// A count that has not moved far looks shorter than it is; that is said, and only then.
func TestAByteThatMayBeTheHighestOfTheCount(t *testing.T) {
	for name, tc := range map[string]struct {
		third byte
		every int
		said  bool
	}{
		"a small one beside it": {0x02, 13, true}, "a negative count": {0xFD, 13, true},
		"a third byte of a sign of its own": {0x5A, 13, false}, "it moves": {0x02, 4001, false},
	} {
		h := Heard{Baud: 115200, Line: "8N1"}
		for i := range 150 {
			v := int(tc.third)<<16 + 1000 + i*tc.every
			f := []byte{0xC3, 0x3C, byte(v >> 16), byte(v >> 8), byte(v), 0}
			for _, b := range f[:5] {
				f[5] ^= b
			}
			h.Chunks = append(h.Chunks, serialport.Chunk{At: time.Duration(i) * 20 * time.Millisecond, Data: f})
		}
		found, ok := Find([]Heard{h})
		if !ok {
			t.Fatalf("%s: not found", name)
		}
		if said := strings.Contains(strings.Join(found.Notes, "\n"), "may be its highest"); said != tc.said {
			t.Errorf("%s: said %v\n%s", name, said, found.Blocks("/dev/x", 100))
		}
	}
}
