package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// staircase is one turn of a lean of the given amplitude (mm) on a display of steps q, with white noise of standard
// deviation sd.
func staircase(seed uint64, amplitude, q, sd float64) []sweep.Point {
	r := rand.New(rand.NewPCG(seed, 11))
	phase, offset := 2*math.Pi*r.Float64(), q*r.Float64()
	pts := make([]sweep.Point, 1000)
	for i := range pts {
		th := 2 * math.Pi * float64(i) / float64(len(pts))
		z := amplitude*math.Cos(th-phase) + offset + sd*r.NormFloat64()
		pts[i] = sweep.Point{T: 0.03 * float64(i), Angle: th, Reading: math.Round(z/q) * q}
	}
	return pts
}

// What rounding leaves in a block: a twelfth of the squared step where the reading stands still (the rectangular
// distribution, JCGM 100:2008, 4.3.7), hardly anything where noise carries it over many steps.
func TestRoundedTo(t *testing.T) {
	const q = 0.01
	still := []block{{n: 10, runs: 1}, {n: 10, runs: 1}}
	if got := roundedTo(still, q); math.Abs(got-q*q/12) > 1e-15 {
		t.Errorf("standing still: %v, want %v", got, q*q/12)
	}
	busy := []block{{n: 10, runs: 9}, {n: 10, runs: 9}}
	if got := roundedTo(busy, q); got > 1e-3*q*q/12 {
		t.Errorf("never the same twice: %v", got)
	}
}

// Of a coarse display's steps the model makes no random walk: its lean is as near the truth as that of least squares,
// and the interval holds it.
func TestStaircaseIsNoWalk(t *testing.T) {
	t.Parallel()
	const q, amplitude = 0.01, 0.012
	var ours, plain float64
	held := 0
	const runs = 12
	setup := oneArm(100)
	setup.Indicators[0].ResolutionMM = q
	for i := range uint64(runs) {
		pts := staircase(i+1, amplitude, q, 0.0005)
		r, err := Fit(pts, setup)
		if err != nil {
			t.Fatal(err)
		}
		p, err := sweep.FitPlain(pts, setup)
		if err != nil {
			t.Fatal(err)
		}
		tr := rand.New(rand.NewPCG(i+1, 11))
		phase := 2 * math.Pi * tr.Float64()
		tilt, nod := 10*amplitude*math.Cos(phase), 10*amplitude*math.Sin(phase)
		ours += sq(r.Tilt.Slope.MMPerM()-tilt) + sq(r.Nod.Slope.MMPerM()-nod)
		plain += sq(p.Tilt.Slope.MMPerM()-tilt) + sq(p.Nod.Slope.MMPerM()-nod)
		for _, a := range []struct {
			axis  *sweep.Axis
			truth float64
		}{{r.Tilt, tilt}, {r.Nod, nod}} {
			if math.Abs(a.axis.Slope.MMPerM()-a.truth) <= a.axis.Expanded.MMPerM() {
				held++
			}
		}
	}
	if ratio := math.Sqrt(ours / plain); ratio > 1.1 {
		t.Errorf("the error is %.2f times that of least squares", ratio)
	}
	if held < fewest(2*runs, 0.91, 0.01) {
		t.Errorf("the interval held the truth in %d of %d", held, 2*runs)
	}
}

// A tremor that swings to and fro is found as a band, or averaged out by joining blocks where it is faster than they
// show; white noise and a random walk are not taken for one.
func TestJoinSwings(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 1))
	draw := func(air series) []sweep.Point {
		pts := make([]sweep.Point, 1200)
		for i := range pts {
			u := float64(i) / float64(len(pts))
			th := 2.2 * math.Pi * u
			pts[i] = sweep.Point{T: 12 * u, Angle: th, Reading: 0.02*math.Cos(th) + air(12*u) + 0.0003*r.NormFloat64()}
		}
		return pts
	}
	alone := len(fittingOf(t, draw(wander(r, 0.005, 12)), oneArm(100)).bs)
	if n := len(fittingOf(t, draw(hush), oneArm(100)).bs); n < alone*3/4 {
		t.Errorf("white noise: %d blocks, a random walk %d", n, alone)
	}
	if f := fittingOf(t, draw(tremor(r, 0.003, 8, 0.05)), oneArm(100)); math.Abs(f.band.hertz-8) > 1 ||
		f.band.quality < 3 {
		t.Errorf("a tremor of 8 Hz: found %+v", f.band)
	}
	if f := fittingOf(t, draw(tremor(r, 0.003, 14, 0.05)), oneArm(100)); f.band.variance > 0 || len(f.bs) > alone/2 {
		t.Errorf("a tremor of 14 Hz, faster than the blocks show: %d blocks, a random walk %d, a band of %+v",
			len(f.bs), alone, f.band)
	}
}
