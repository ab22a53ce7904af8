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

// A steady wave under the readings costs nothing once it is known: the interval stays near what the sweep without it
// has, it holds the truth, and the frequency found is the one that was there (Rayleigh: to a fraction of one cycle in
// the sweep).
func TestWave(t *testing.T) {
	t.Parallel()
	const radius, tilt, nod = 100, 0.2, -0.1 // mm, mm/m
	without, err := Fit(hummed(1, 20, 0, 1, 0), oneArm(radius))
	if err != nil {
		t.Fatal(err)
	}
	if len(without.Waves) > 0 || warned(without, WarnSteadyWave) {
		t.Errorf("no wave: the result says %+v, warnings %+v", without.Waves, without.Warnings)
	}
	for i, hertz := range []float64{0.17, 0.31, 0.5, 1.3, 2.9} {
		pts := hummed(uint64(i+1), 20, 0.004, hertz, float64(i))
		f := fittingOf(t, pts, oneArm(radius))
		if len(f.parts) == 0 || math.Abs(f.parts[0].hertz-hertz)*20 > 0.2 {
			t.Errorf("%v Hz: found %v", hertz, f.parts)
		}
		r, err := Fit(pts, oneArm(radius))
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Waves) != 1 || math.Abs(r.Waves[0].Hertz-hertz)*20 > 0.2 ||
			math.Abs(r.Waves[0].AmplitudeMM-0.004) > 0.0006 || math.Abs(r.Waves[0].PeriodS*r.Waves[0].Hertz-1) > 1e-12 {
			t.Errorf("%v Hz of 0.004 mm: the result says %+v", hertz, r.Waves)
		}
		if !warned(r, WarnSteadyWave) {
			t.Errorf("%v Hz: nobody is told; warnings %+v", hertz, r.Warnings)
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

// Where there is no wave none is found: in white noise, in a random walk, in a drift, or in the smooth form of a table.
// (Fine waves of the table itself, passed at an even speed, are waves in time.)
func TestNoWave(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 1))
	for _, f := range append(families(), unseen()...) {
		switch f.name {
		case "even turning", "random walk", "wander, one turn", "white only", "splined table", "warming":
			for range 4 {
				tr := f.draw(r)
				if w := fittingOf(t, tr.pts, tr.setup).parts; len(w) > 0 {
					t.Errorf("%s: found %v", f.name, w)
				}
			}
		}
	}
}

// A fine wave of the table, of an order above those of the form, is told from noise by its order, though the arm turns
// unevenly; the form lists it, and the interval stays near what the smooth table has.
func TestFineWaveOfTheTable(t *testing.T) {
	const radius, order, size = 100, 17, 0.004
	draw := func(size float64) []sweep.Point {
		r := rand.New(rand.NewPCG(6, 6))
		pts := make([]sweep.Point, 900)
		for i := range pts {
			u := float64(i) / float64(len(pts))
			th := 2.2 * math.Pi * (u + 0.05*math.Sin(2*math.Pi*u))
			z := 0.02*math.Cos(th) - 0.01*math.Sin(th) + size*math.Cos(order*th-1) + 0.0008*r.NormFloat64()
			pts[i] = sweep.Point{T: 20 * u, Angle: th, Reading: math.Round(z/0.001) * 0.001}
		}
		return pts
	}
	smooth, err := Fit(draw(0), oneArm(radius))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Fit(draw(size), oneArm(radius))
	if err != nil {
		t.Fatal(err)
	}
	found := 0.0
	for _, h := range r.Form {
		if h.Order == order {
			found = h.AmplitudeMM
		}
	}
	if math.Abs(found-size) > 0.0005 || len(r.Waves) > 0 || r.FormPVMM < 1.8*size {
		t.Errorf("order %d of %v mm: found %v mm, form %v mm peak to valley, waves in time %+v", order, size, found,
			r.FormPVMM, r.Waves)
	}
	if e := math.Abs(r.Tilt.Slope.MMPerM() - 0.2); e > r.Tilt.Expanded.MMPerM() {
		t.Errorf("tilt is off by %v mm/m, expanded %v", e, r.Tilt.Expanded)
	}
	if r.Tilt.Expanded > 2*smooth.Tilt.Expanded {
		t.Errorf("expanded %v, %v without the wave", r.Tilt.Expanded, smooth.Tilt.Expanded)
	}
}
