package drift

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The scatter of clamping is separated from u where every other check is five times as uncertain, however u is stated.
func TestClampingIsToldFromUnevenChecks(t *testing.T) {
	for _, h := range []healthy{
		{name: "none", uneven: true},
		{name: "3 u", uneven: true, clamping: 3},
		{name: "3 u, u told a quarter too small", uneven: true, clamping: 3, stated: 0.75},
		{name: "none, u told a quarter too large", uneven: true, stated: 1.25},
	} {
		next, tr := h.stream(rand.New(rand.NewPCG(31, 32))), New()
		for range 300 {
			play(t, tr, []Check{next(0)})
		}
		// The chi-square of the 150 good checks knows a scatter of 3 u to 6 %; how u is stated, and the grid, add to
		// that.
		for i, got := range tr.Answer(0.95).Scatter {
			if want := h.clamping * trueU; math.Abs(got-want) > 0.2*want+0.6*trueU {
				t.Errorf("%s, %s: %.2f u, want %.2f", h.name, Axes[i], got/trueU, h.clamping)
			}
			// A good check's and a poor one's variance, relative to each other.
			a := tr.axes[i]
			u := trueU * h.stated
			if h.stated == 0 {
				u = trueU
			}
			ratio := a.relative(5*u) / a.relative(u)
			want := (sq(5) + sq(h.clamping)) / (1 + sq(h.clamping))
			if ratio < want/1.4 || ratio > want*1.4 {
				t.Errorf("%s, %s: a poor check has %.1f times the variance of a good one, want %.1f", h.name, Axes[i],
					ratio, want)
			}
		}
	}
}
