package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// Two indicators on a bar that heaves: what both share takes nothing from the lean, so the interval is far narrower
// than that of the first indicator alone, it holds the truth, and the filter carries it on as the fit would have it.
func TestHeavingBar(t *testing.T) {
	t.Parallel()
	held, n := 0, 0
	narrower := 0.0
	const sweeps = 8
	for seed := range uint64(sweeps) {
		r := rand.New(rand.NewPCG(seed, 44))
		tr := ground{slow: true, turns: 1, arms: heaving}.draw(r, disturbances()[0])
		both, err := Fit(tr.pts, tr.setup)
		if err != nil {
			t.Fatal(err)
		}
		var first []sweep.Point
		for _, p := range tr.pts {
			if p.Indicator == 0 {
				first = append(first, p)
			}
		}
		one := tr.setup
		one.Indicators = one.Indicators[:1]
		alone, err := Fit(first, one)
		if err != nil {
			t.Fatal(err)
		}
		narrower += math.Log(float64(alone.Tilt.Expanded/both.Tilt.Expanded)) / sweeps
		f, _, err := Begin(tr.pts[:3*len(tr.pts)/4], tr.setup, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range tr.pts[3*len(tr.pts)/4:] {
			f.Add(p)
		}
		live := f.Result()
		for i, a := range [][2]*sweep.Axis{{both.Tilt, live.Tilt}, {both.Nod, live.Nod}} {
			truth := [2]float64{tr.tilt, tr.nod}[i]
			n += 2
			for _, x := range a {
				if math.Abs(float64(x.Slope)-truth) <= float64(x.Expanded) {
					held++
				}
			}
			if off := math.Abs(float64(a[0].Slope - a[1].Slope)); off > float64(a[1].Expanded) {
				t.Errorf("seed %d: the filter ends %.2f U from the fit", seed, off/float64(a[1].Expanded))
			}
		}
	}
	t.Logf("held %d of %d, %.1f times narrower than one indicator's", held, n, math.Exp(narrower))
	if held < fewest(n, 0.91, 0.01) || math.Exp(narrower) < 2 {
		t.Errorf("held the truth in %d of %d, %.1f times narrower than one indicator's", held, n, math.Exp(narrower))
	}
}
