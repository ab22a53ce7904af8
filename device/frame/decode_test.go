package frame

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestSpread(t *testing.T) {
	ms := Stamp(time.Millisecond)
	for _, tc := range []struct {
		name string
		a    Arrival
		size int
		want []Stamp
	}{
		{"one line that was waited for keeps the read's stamp", Arrival{0, 100 * ms, true}, 12, []Stamp{100 * ms}},
		// 12 bytes of 10 bits at 120,000 bit/s are 1 ms.
		{"after a pause: the time on the wire", Arrival{0, 100 * ms, true}, 36, []Stamp{98 * ms, 99 * ms, 100 * ms}},
		{"long lines: not before the previous read", Arrival{94 * ms, 100 * ms, true}, 120 * 3, []Stamp{96 * ms, 98 * ms, 100 * ms}},
		{"found lying there late: as after a pause", Arrival{0, 100 * ms, false}, 36, []Stamp{98 * ms, 99 * ms, 100 * ms}},
		{"found lying there: the middle of the time", Arrival{98 * ms, 100 * ms, false}, 12, []Stamp{99 * ms}},
		{"found lying there: evenly", Arrival{96 * ms, 100 * ms, false}, 36, []Stamp{97 * ms, 98 * ms, 99 * ms}},
	} {
		s := make([]Sample, len(tc.want))
		for i := range s {
			s[i].At = tc.a.At
		}
		spread(s, tc.a, tc.size, 120_000)
		for i := range s {
			if s[i].At != tc.want[i] {
				t.Errorf("%s: line %d at %d, want %d", tc.name, i, s[i].At, tc.want[i])
			}
		}
	}
}

// Each stamp lies in the time in which its line can have come, whatever the instrument's pace.
func TestStampsAreInOrderAndWithinTheirRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := NewDecoder(NewTextFramer(), rapid.SampledFrom([]int{300, 115200, 921600}).Draw(t, "baud"))
		at := Stamp(rapid.Int64Range(-1e12, 1e12).Draw(t, "start"))
		d.Opened(true, at)
		last := at
		longest := rapid.SampledFrom([]int64{1_000_000, 5_000_000, 80_000_000}).Draw(t, "longest")
		for range rapid.IntRange(1, 60).Draw(t, "reads") {
			a := Arrival{From: at, Prompt: rapid.Bool().Draw(t, "prompt")}
			at += Stamp(rapid.Int64Range(0, longest).Draw(t, "gap"))
			a.At = at
			stream := []byte(rapid.StringMatching(`(0\.[0-9]{1,3}\n){0,9}`).Draw(t, "bytes"))
			for _, s := range d.Read(stream, a) {
				if s.At < last || s.At < a.From || s.At > at {
					t.Fatalf("stamp %d is not between %d and %d, and after %d", s.At, a.From, at, last)
				}
				last = s.At
			}
		}
	})
}
