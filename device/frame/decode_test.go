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
		{"one line that was waited for keeps the read's stamp", Arrival{From: 0, At: 100 * ms, Prompt: true}, 12,
			[]Stamp{100 * ms}},
		// 12 bytes of 10 bits at 120,000 bit/s are 1 ms.
		{"after a pause: the time on the wire", Arrival{From: 0, At: 100 * ms, Prompt: true}, 36,
			[]Stamp{98 * ms, 99 * ms, 100 * ms}},
		{"long lines: not before the previous read", Arrival{From: 94 * ms, At: 100 * ms, Prompt: true}, 120 * 3,
			[]Stamp{96 * ms, 98 * ms, 100 * ms}},
		{"found lying there late: as after a pause", Arrival{From: 0, At: 100 * ms}, 36,
			[]Stamp{98 * ms, 99 * ms, 100 * ms}},
		{"found lying there: the middle of the time", Arrival{From: 98 * ms, At: 100 * ms}, 12, []Stamp{99 * ms}},
		{"found lying there: evenly", Arrival{From: 96 * ms, At: 100 * ms}, 36, []Stamp{97 * ms, 98 * ms, 99 * ms}},
		{"gathered on purpose: evenly", Arrival{From: 0, At: 40 * ms, Gather: 40 * ms}, 36,
			[]Stamp{10 * ms, 20 * ms, 30 * ms}},
		{"gathered, and late: as after a pause", Arrival{From: 0, At: 100 * ms, Gather: 40 * ms}, 36,
			[]Stamp{98 * ms, 99 * ms, 100 * ms}},
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
			a := Arrival{From: at, Prompt: rapid.Bool().Draw(t, "prompt"),
				Gather: Stamp(rapid.SampledFrom([]int64{0, 50_000_000}).Draw(t, "gather"))}
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
