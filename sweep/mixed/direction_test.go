package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// thereAndBack is a turn in 20 s and the same way back, the angles late by the given time (s), over a lean of the given
// size (mm/m).
func thereAndBack(seed uint64, lean, late float64) []sweep.Point {
	const radius, n, turn = 100.0, 1200, 20.0
	r := rand.New(rand.NewPCG(seed, 41))
	way := 2 * math.Pi * r.Float64()
	angle := func(t float64) float64 { return 2 * math.Pi * (1 - math.Abs(1-math.Max(t, 0)/turn)) }
	pts := make([]sweep.Point, n)
	for i := range pts {
		t := 2 * turn * float64(i) / n
		z := lean*radius/1000*math.Cos(angle(t)-way) + 0.001*r.NormFloat64()
		pts[i] = sweep.Point{T: t, Angle: angle(t - late), Reading: math.Round(z/0.001) * 0.001}
	}
	return pts
}

// A small lean tells nothing of a delay, and none is told; a large one tells it.
func TestDelayIsToldByALeanThatShowsIt(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		for _, c := range []struct {
			lean, late float64 // mm/m, s
			want       bool
		}{{0.01, 0, false}, {0.3, 0, false}, {0.3, 0.06, true}} {
			r, err := Fit(thereAndBack(seed, c.lean, c.late), oneArm(100))
			if err != nil {
				t.Fatal(err)
			}
			if warned(r, WarnDelay) != c.want {
				t.Errorf("seed %d, lean %v mm/m, angles late by %v s: warnings %+v", seed, c.lean, c.late, r.Warnings)
			}
		}
	}
}

// A second look at the delay does not add to the first where the readings say nothing of it: the estimate stays within
// what is believed of delays before any sweep. Where they say much, it is found.
func TestDelayStaysWithinBelief(t *testing.T) {
	t.Parallel()
	for seed := range uint64(2) {
		f := fittingOf(t, thereAndBack(seed, 0.003, 0), oneArm(100))
		if math.Abs(f.way.delayS) > delaySD || math.Abs(f.way.lag) > lagSD {
			t.Errorf("seed %d: delay %.3f s, lag %.4f rad", seed, f.way.delayS, f.way.lag)
		}
	}
	late := fittingOf(t, thereAndBack(1, 0.3, 0.06), oneArm(100))
	if e := late.way.delayS + late.way.lag/(2*math.Pi/20); math.Abs(e-0.06) > 0.015 {
		t.Errorf("angles late by 0.06 s: found %.4f s", e)
	}
}
