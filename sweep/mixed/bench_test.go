package mixed

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// BenchmarkFit shows the cost by number of readings, beside the plain fit of the same sweep.
func BenchmarkFit(b *testing.B) {
	for _, n := range []int{12, 200, 2000, 20_000, 200_000, 1_000_000} {
		r := rand.New(rand.NewPCG(1, uint64(n)))
		turns := math.Max(1, float64(n)/5000)
		s := scene{n: n, turns: turns, seconds: 20 * turns, white: 0.001, slow: 0.001, tau: 1, form: 0.002, fall: 1.5, slots: 3, slotDeg: 8, slotMM: 1}
		if n == 12 {
			s = scene{stations: 12, white: 0.001, form: 0.001, fall: 1.5}
		}
		t := s.draw(r)
		b.Run(fmt.Sprintf("full/%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Fit(t.pts, t.setup); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("plain/%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := sweep.FitPlain(t.pts, t.setup); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
