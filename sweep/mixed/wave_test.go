package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// hummed is one turn and a tenth in the given time, with a steady wave of the given size (mm) and frequency.
func hummed(seed uint64, seconds, size, hertz, phase float64) []sweep.Point {
	r := rand.New(rand.NewPCG(seed, 3))
	pts := make([]sweep.Point, 900)
	for i := range pts {
		t := seconds * float64(i) / float64(len(pts))
		th := 2.2 * math.Pi * float64(i) / float64(len(pts))
		z := 0.02*math.Cos(th) - 0.01*math.Sin(th) + size*math.Cos(2*math.Pi*hertz*t+phase) + 0.0008*r.NormFloat64()
		pts[i] = sweep.Point{T: t, Angle: th, Reading: math.Round(z/0.001) * 0.001}
	}
	return pts
}

// A steady wave under the readings costs nothing once it is known: the interval stays near what the sweep without it has,
// it holds the truth, and the frequency found is the one that was there (Rayleigh: to a fraction of one cycle in the sweep).
func TestWave(t *testing.T) {
	const radius, tilt, nod = 100, 0.2, -0.1 // mm, mm/m
	without, err := Fit(hummed(1, 20, 0, 1, 0), oneArm(radius))
	if err != nil {
		t.Fatal(err)
	}
	for i, hertz := range []float64{0.17, 0.31, 0.5, 1.3, 2.9} {
		pts := hummed(uint64(i+1), 20, 0.004, hertz, float64(i))
		f := fittingOf(t, pts, oneArm(radius))
		if len(f.waves) == 0 || math.Abs(f.waves[0].hertz-hertz)*20 > 0.2 {
			t.Errorf("%v Hz: found %v", hertz, f.waves)
		}
		r, err := Fit(pts, oneArm(radius))
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range []struct {
			axis  *sweep.Axis
			truth float64
		}{{r.Tilt, tilt}, {r.Nod, nod}} {
			e, half := math.Abs(a.axis.Slope.MMPerM()-a.truth), a.axis.Expanded.MMPerM()
			if e > 1.5*half {
				t.Errorf("%v Hz: off by %.4f mm/m, expanded %.4f", hertz, e, half)
			}
			if most := 3 * without.Tilt.Expanded.MMPerM(); half > most {
				t.Errorf("%v Hz: expanded %.4f mm/m, want %.4f at most", hertz, half, most)
			}
		}
	}
}

// Where there is no wave none is found: in white noise, in a random walk, in a drift, or in the smooth form of a table. (Fine
// waves of the table itself, passed at an even speed, are waves in time.)
func TestNoWave(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	for _, f := range append(families(), unseen()...) {
		switch f.name {
		case "even turning", "random walk", "wander, one turn", "white only", "splined table", "warming":
			for range 4 {
				tr := f.draw(r)
				if w := fittingOf(t, tr.pts, tr.setup).waves; len(w) > 0 {
					t.Errorf("%s: found %v", f.name, w)
				}
			}
		}
	}
}
