package sweep

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// drawSweep is any sweep that can be fitted: readings round at least two thirds of the circle.
func drawSweep(t *rapid.T) []Point {
	n := rapid.IntRange(8, 60).Draw(t, "readings")
	arc := rapid.Float64Range(240, 720).Draw(t, "arc")
	z := rapid.SliceOfN(rapid.Float64Range(-0.5, 0.5), n, n).Draw(t, "mm")
	pts := circle(0, 0, 0, 1, evenly(n, 0, arc)...)
	for i := range pts {
		pts[i].Reading = z[i]
	}
	return pts
}

func mustFit(t *rapid.T, pts []Point, setup Setup) Result {
	res, err := FitPlain(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func same(t *rapid.T, what string, got, want, scale float64) {
	if !(math.Abs(got-want) <= 1e-9*(scale+math.Abs(want))) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

const microslope = 1e-6

// Turning the machine under the arm turns the lean and leaves its size.
func TestRotation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pts := drawSweep(t)
		turn := rapid.Float64Range(-10, 10).Draw(t, "turn")
		before := mustFit(t, pts, oneArm())
		for i := range pts {
			pts[i].Angle += turn
		}
		after := mustFit(t, pts, oneArm())
		s, c := math.Sincos(turn)
		x, y := float64(before.Tilt.Slope), float64(before.Nod.Slope)
		same(t, "tilt", float64(after.Tilt.Slope), c*x-s*y, microslope)
		same(t, "nod", float64(after.Nod.Slope), s*x+c*y, microslope)
		same(t, "trace", after.Covariance[0][0]+after.Covariance[1][1], before.Covariance[0][0]+before.Covariance[1][1],
			1e-12)
	})
}

// The phase of an indicator on its arm is a turn of the spindle angle, and nothing else.
func TestPhaseIsATurn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pts := drawSweep(t)
		phase := rapid.Float64Range(-720, 720).Draw(t, "phase")
		setup := oneArm()
		setup.Indicators[0].PhaseDeg = phase
		turned := mustFit(t, pts, setup)
		for i := range pts {
			pts[i].Angle += Radians(phase)
		}
		plain := mustFit(t, pts, oneArm())
		same(t, "tilt", float64(turned.Tilt.Slope), float64(plain.Tilt.Slope), microslope)
		same(t, "nod", float64(turned.Nod.Slope), float64(plain.Nod.Slope), microslope)
	})
}

// Where the indicator's zero lies changes the offset alone.
func TestOffset(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pts := drawSweep(t)
		shift := rapid.Float64Range(-50, 50).Draw(t, "shift")
		before := mustFit(t, pts, oneArm())
		for i := range pts {
			pts[i].Reading += shift
		}
		after := mustFit(t, pts, oneArm())
		same(t, "tilt", float64(after.Tilt.Slope), float64(before.Tilt.Slope), microslope)
		same(t, "u(nod)", float64(after.Nod.U), float64(before.Nod.U), microslope)
		same(t, "offset", after.OffsetMM[0], before.OffsetMM[0]+shift, 1)
	})
}

// Readings and radius in proportion: the lean is a ratio.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pts := drawSweep(t)
		k := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		before := mustFit(t, pts, oneArm())
		for i := range pts {
			pts[i].Reading *= k
		}
		setup := oneArm()
		after := mustFit(t, pts, setup)
		same(t, "tilt", float64(after.Tilt.Slope), k*float64(before.Tilt.Slope), microslope)
		same(t, "u(tilt)", float64(after.Tilt.U), k*float64(before.Tilt.U), microslope)
		setup.Indicators[0].RadiusMM *= k
		scaled := mustFit(t, pts, setup)
		same(t, "tilt", float64(scaled.Tilt.Slope), float64(before.Tilt.Slope), microslope)
		same(t, "u(tilt)", float64(scaled.Tilt.U), float64(before.Tilt.U), microslope)
	})
}

// The order of the readings does not matter to the lean (it does to closure).
func TestOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pts := drawSweep(t)
		before := mustFit(t, pts, oneArm())
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		rng.Shuffle(len(pts), func(i, j int) { pts[i], pts[j] = pts[j], pts[i] })
		after := mustFit(t, pts, oneArm())
		same(t, "tilt", float64(after.Tilt.Slope), float64(before.Tilt.Slope), microslope)
		same(t, "nod", float64(after.Nod.Slope), float64(before.Nod.Slope), microslope)
		same(t, "u(nod)", float64(after.Nod.U), float64(before.Nod.U), microslope)
		same(t, "coverage", after.Coverage, before.Coverage, 1)
	})
}

// Anything a wire or a file may bring: an answer or an error, never a panic, and no number that is not one.
func TestAnything(t *testing.T) {
	value := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-10, 10),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Pi, -math.Pi / 2, 1e-300, 6e6}))
	rapid.Check(t, func(t *rapid.T) {
		setup := oneArm()
		setup.Indicators = append(setup.Indicators, Indicator{RadiusMM: 80, PhaseDeg: 180, ResolutionMM: 0.01,
			MPEMM: 0.02, RadiusUMM: 1})
		f, err := NewPlain(setup)
		if err != nil {
			t.Fatal(err)
		}
		l, err := NewLive(setup)
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			p := Point{T: value.Draw(t, "t"), Angle: value.Draw(t, "angle"), Reading: value.Draw(t, "mm"),
				Indicator: rapid.IntRange(-1, 2).Draw(t, "indicator")}
			_ = f.Add(p) // the refusals have their own test
			l.Add(p)
		}
		for _, result := range []func() (Result, error){f.Result, l.Result} {
			res, err := result()
			if err != nil {
				continue
			}
			for _, a := range []*Axis{res.Tilt, res.Nod} {
				if a != nil && !(finite(float64(a.Slope)) && a.U >= 0 && finite(float64(a.Expanded)) &&
					a.Expanded >= a.U) {
					t.Errorf("axis %+v", *a)
				}
			}
			if !(res.Coverage >= 0 && res.Coverage <= 2*math.Pi+1e-12) || !(res.CoverageFactor > 1.9) {
				t.Errorf("coverage %v, factor %v", res.Coverage, res.CoverageFactor)
			}
		}
	})
}
