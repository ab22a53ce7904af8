package bar

import (
	"flag"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tramd/sweep/line/linetest"
)

var study = flag.Int("study", 0, "bars of each kind that the study draws; 0 for the short form")

// Each estimate of a bar that turns holds the truth: at few angles and at many, near nothing and far from it, and what
// re-chucking tells apart.
func TestEachEstimateOfABarHoldsTheTruth(t *testing.T) {
	t.Parallel()
	n := 15
	if *study > 0 {
		n = *study
	}
	for _, angles := range []int{4, 8, 36} {
		r := rand.New(rand.NewPCG(uint64(angles), 31))
		tallies := map[string]*linetest.Tally{}
		add := func(name string, off, half float64) {
			if tallies[name] == nil {
				tallies[name] = &linetest.Tally{}
			}
			tallies[name].Add(off, half)
		}
		for range n {
			draw := func() (v [2]float64) { return [2]float64{0.01 * r.NormFloat64(), 0.01 * r.NormFloat64()} }
			lean := func() (v [2]float64) { return [2]float64{3e-4 * r.NormFloat64(), 3e-4 * r.NormFloat64()} }
			collet, own := turning{off: draw(), lean: lean()}, turning{off: draw(), lean: lean()}
			first := turning{white: 0.001, angles: angles}
			again := first
			if angles > 4 { // four angles cannot tell lobes from run-out
				first.lobes, again.lobes = 0.001, 0.001
			}
			for k := range 2 {
				first.off[k], again.off[k] = collet.off[k]+own.off[k], collet.off[k]-own.off[k]
				first.lean[k], again.lean[k] = collet.lean[k]+own.lean[k], collet.lean[k]-own.lean[k]
			}
			nose := 60.0
			opt := plain
			opt.NoseMM = &nose
			res, err := Fit(first.read(r, 5, 25, 45), again.read(r, 5, 25, 45), opt)
			if err != nil {
				t.Fatal(err)
			}
			for what, x := range map[string]struct {
				set   *Set
				truth turning
			}{"": {&res.Set, first}, "collet, ": {res.Collet, collet}, "bar itself, ": {res.BarItself, own}} {
				at := func(h float64) float64 {
					return math.Hypot(x.truth.off[0]+x.truth.lean[0]*h, x.truth.off[1]+x.truth.lean[1]*h)
				}
				for _, h := range x.set.Heights {
					add(what+"eccentricity", h.Eccentricity-at(h.AtMM), h.U)
				}
				add(what+"angle", x.set.Angle.MMPerM-1000*math.Hypot(x.truth.lean[0], x.truth.lean[1]),
					x.set.Angle.Expanded)
				add(what+"at the nose", x.set.AtNose.Eccentricity-at(nose), x.set.AtNose.U)
			}
		}
		for _, name := range slices.Sorted(maps.Keys(tallies)) {
			t.Logf("%2d angles: %-26s %v", angles, name, tallies[name])
			if !tallies[name].Sound() {
				t.Errorf("%d angles: %s %v", angles, name, tallies[name])
			}
		}
	}
}
