package device

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"tramd/device/devicetest"
)

func openLine(t testing.TB, capture string) (*devicetest.Line, Spec) {
	l := devicetest.Open(t)
	return l, Spec{Port: l.Path, Capture: capture}
}

func TestSpread(t *testing.T) {
	ms := Stamp(time.Millisecond)
	for _, tc := range []struct {
		name     string
		prev, at Stamp
		size     int
		want     []Stamp
	}{
		{"one line keeps the read's stamp", 0, 100 * ms, 12, []Stamp{100 * ms}},
		// 12 bytes of 10 bits at 120,000 bit/s are 1 ms.
		{"after a pause: the time on the wire", 0, 100 * ms, 36, []Stamp{98 * ms, 99 * ms, 100 * ms}},
		{"while gathering: evenly", 98 * ms, 100 * ms, 48, []Stamp{98*ms + ms/2, 99 * ms, 99*ms + ms/2, 100 * ms}},
		{"long lines: not before the previous read", 94 * ms, 100 * ms, 120 * 3, []Stamp{96 * ms, 98 * ms, 100 * ms}},
	} {
		s := make([]Sample, len(tc.want))
		for i := range s {
			s[i].At = tc.at
		}
		spread(s, tc.prev, tc.at, tc.size, 120_000)
		for i := range s {
			if s[i].At != tc.want[i] {
				t.Errorf("%s: line %d at %d, want %d", tc.name, i, s[i].At, tc.want[i])
			}
		}
	}
}

func TestStampsAreInOrderAndNeverInTheFuture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := newDecoder(NewTextFramer(), rapid.SampledFrom([]int{300, 115200, 921600}).Draw(t, "baud"))
		at := Stamp(rapid.Int64Range(-1e12, 1e12).Draw(t, "start"))
		d.opened(true, at)
		last := at
		for range rapid.IntRange(1, 20).Draw(t, "reads") {
			at += Stamp(rapid.Int64Range(0, 5_000_000).Draw(t, "gap"))
			stream := []byte(rapid.StringMatching(`(0\.[0-9]{1,3}\n){0,9}`).Draw(t, "bytes"))
			for _, s := range d.read(stream, at) {
				if s.At < last || s.At > at {
					t.Fatalf("stamp %d is not between %d and %d", s.At, last, at)
				}
				last = s.At
			}
		}
	})
}
