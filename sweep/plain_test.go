package sweep

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep/units"
)

// oneArm is one indicator at 120 mm, as good as its own scatter.
func oneArm() Setup {
	return Setup{Indicators: []Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0}}}
}

// circle makes readings of a known lean at the angles given in degrees.
func circle(tilt, nod, offset, radius float64, deg ...float64) []Point {
	pts := make([]Point, len(deg))
	for i, d := range deg {
		s, c := math.Sincos(Radians(d))
		pts[i] = Point{T: float64(i), Angle: Radians(d), Reading: offset + radius*(tilt*c+nod*s)}
	}
	return pts
}

func evenly(n int, from, to float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = from + (to-from)*float64(i)/float64(n-1)
	}
	return out
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g within %g", what, got, want, tol)
	}
}

// Common practice, no source: 0.05 mm from left to right over a 280 mm circle is 0.179 mm/m, and over an 8 mm cutter
// 0.0014 mm.
func TestLeftToRight(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 140, ResolutionMM: 0.001}}}
	res, err := FitPlain([]Point{{Angle: 0, Reading: 0.025}, {Angle: math.Pi, Reading: -0.025}}, setup)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", res.Tilt.Slope.MMPerM(), 0.179, 0.0005)
	near(t, "over the cutter", res.Tilt.Slope.Over(8), 0.0014, 0.00005)
	if res.Nod != nil || res.Lean != nil {
		t.Errorf("nod %v and lean %v from two stations on X", res.Nod, res.Lean)
	}
}

func TestKnownLean(t *testing.T) {
	pts := circle(0.2e-3, -0.1e-3, 3.5, 120, evenly(1500, 0, 352)...)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range pts {
		pts[i].Reading += 0.001 * rng.NormFloat64()
	}
	setup := oneArm()
	setup.Tolerance = units.Tolerance{Limit: 0.3e-3, Text: "0.3 mm/m"}
	res, err := FitPlain(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", float64(res.Tilt.Slope), 0.2e-3, 3*float64(res.Tilt.U))
	near(t, "nod", float64(res.Nod.Slope), -0.1e-3, 3*float64(res.Nod.U))
	near(t, "offset", res.OffsetMM[0], 3.5, 1e-4)
	near(t, "coverage", Degrees(res.Coverage), 352, 1e-6)
	near(t, "rms", res.ResidualRMSMM, 0.001, 1e-4)
	if res.Verdict != Within {
		t.Errorf("verdict %s", res.Verdict)
	}
}
