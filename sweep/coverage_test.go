package sweep

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestCoverage(t *testing.T) {
	hole := append(evenly(400, 0, 100), evenly(400, 140, 352)...)
	for _, c := range []struct {
		name string
		deg  []float64
		want float64
		tol  float64
		warn bool
	}{
		{"1500 readings over 352 degrees", evenly(1500, 0, 352), 352, 1e-9, false},
		{"1500 readings over 352 degrees across zero", evenly(1500, 200, 552), 352, 1e-9, false},
		{"the other way round", evenly(1500, 0, -352), 352, 1e-9, false},
		{"a full turn", evenly(1500, 0, 360), 360, 1e-9, false},
		{"three turns", evenly(1500, 10, 1090), 360, 1e-9, false},
		{"dense with a hole", hole, 312, 1e-9, true},
		{"dense arc", evenly(200, 20, 220), 200, 1e-9, true},
		{"a reading every three degrees", evenly(100, 0, 297), 297, 1e-9, true},
		{"eight stations", evenly(9, 0, 360)[:8], 360, 1e-9, false},
		{"eight stations and back", evenly(9, 0, 360), 360, 1e-9, false},
		{"four stations by hand", []float64{1, 89, 182, 268}, 88 + 90 + 86 + 90, 1e-9, false},
		{"three stations", []float64{0, 120, 240}, 270, 1e-9, false},
		{"five of eight stations", []float64{0, 45, 90, 135, 180}, 225, 1e-9, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			res, err := FitPlain(circle(1e-4, 0, 0, 120, c.deg...), oneArm())
			if err != nil {
				t.Fatal(err)
			}
			near(t, "coverage", Degrees(res.Coverage), c.want, c.tol)
			warned := false
			for _, w := range res.Warnings {
				warned = warned || w.Code == WarnGaps
			}
			if warned != c.warn {
				t.Errorf("warnings %+v", res.Warnings)
			}
		})
	}
	two, err := FitPlain(circle(1e-4, 0, 0, 120, 0, 180), oneArm())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "two stations", Degrees(two.Coverage), 180, 1e-9)
}

// Closure is what moved, not what the lean does between two angles that are nearly the same.
func TestClosure(t *testing.T) {
	creep := func(pts []Point, mm float64) []Point {
		for i := range pts {
			pts[i].Reading += mm * float64(i) / float64(len(pts)-1)
		}
		return pts
	}
	// A creep of a dense sweep shows 1 to 3 % short: the first and last 3 degrees are averaged, and the creep also
	// leans on the fit that the two are taken about.
	const lean = 1e-3 // 2 µm a degree at 120 mm
	for _, c := range []struct {
		name string
		pts  []Point
		want float64
		tol  float64
	}{
		{"stations, back at the first", creep(circle(lean, lean, 0, 120, evenly(9, 0, 360)...), 0), 0, 1e-12},
		{"stations, back beside the first", creep(circle(lean, lean, 0, 120, 0, 45, 90, 135, 180, 225, 270, 315, 358),
			0), 0, 1e-12},
		{"stations that creep", creep(circle(0, 0, 0, 120, evenly(9, 0, 360)...), 0.008), 0.008, 1e-12},
		{"dense, all round", creep(circle(lean, -lean, 5, 120, evenly(1500, 0, 360)...), 0), 0, 1e-12},
		{"dense, short of all round", creep(circle(lean, -lean, 5, 120, evenly(1500, 0, 358.5)...), 0), 0, 1e-12},
		{"dense and creeping", creep(circle(0, 0, 5, 120, evenly(1500, 0, 360)...), 0.02), 0.02, 6e-4},
		{"there and back", creep(circle(lean, lean, 0, 120, append(evenly(300, 0, 300), evenly(300, 300, 0)...)...), 0),
			0, 1e-12},
		{"two turns", creep(circle(0, 0, 0, 120, evenly(2001, 0, 720)...), 0.02), 0.02, 6e-4},
		{"not back", circle(lean, lean, 0, 120, evenly(1500, 0, 352)...), math.NaN(), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			res, err := FitPlain(c.pts, oneArm())
			if err != nil {
				t.Fatal(err)
			}
			if math.IsNaN(c.want) != math.IsNaN(res.ClosureMM) {
				t.Fatalf("closure %v", res.ClosureMM)
			}
			if !math.IsNaN(c.want) {
				near(t, "closure", res.ClosureMM, c.want, c.tol)
			}
		})
	}
}

func TestClosureWarning(t *testing.T) {
	for _, c := range []struct {
		moved float64
		warn  bool
	}{{0, false}, {0.03, true}} {
		pts := circle(1e-4, 0, 0, 120, evenly(1500, 0, 360)...)
		rng := rand.New(rand.NewPCG(21, 22))
		for i := range pts {
			pts[i].Reading += 0.001*rng.NormFloat64() + c.moved*float64(i)/1500
		}
		res, err := FitPlain(pts, oneArm())
		if err != nil {
			t.Fatal(err)
		}
		if got := codes(res) == WarnClosureLarge; got != c.warn {
			t.Errorf("moved by %v mm: warnings %q", c.moved, codes(res))
		}
	}
}

// A surface of known harmonics: peak to valley is twice the amplitude, less what averaging over 5 degrees takes.
func TestForm(t *testing.T) {
	wavy := func(noise float64, deg ...float64) []Point {
		rng := rand.New(rand.NewPCG(31, 32))
		pts := circle(0.5e-3, 0.5e-3, 0, 120, deg...)
		for i := range pts {
			pts[i].Reading += 0.01*math.Cos(2*pts[i].Angle) + noise*rng.NormFloat64()
		}
		return pts
	}
	for _, c := range []struct {
		name string
		pts  []Point
		tol  float64
	}{
		{"dense", wavy(0.001, evenly(3601, 0, 360)...), 0.002},
		{"dense, no noise", wavy(0, evenly(3601, 0, 360)[:3600]...), 1e-4},
		{"eight stations", wavy(0, evenly(9, 0, 360)[:8]...), 1e-12},
	} {
		res, err := FitPlain(c.pts, oneArm())
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, res.FormPVMM, 0.02, c.tol)
	}
	flat := circle(0.5e-3, 0, 0, 120, evenly(3601, 0, 360)...)
	rng := rand.New(rand.NewPCG(41, 42))
	for i := range flat {
		flat[i].Reading += 0.001 * rng.NormFloat64()
	}
	res, err := FitPlain(flat, oneArm())
	if err != nil {
		t.Fatal(err)
	}
	if res.FormPVMM > 0.001 { // noise of 1 µm, 50 readings a mean
		t.Errorf("a flat surface shows a form of %v mm", res.FormPVMM)
	}
}
