package runs

import (
	"math"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/units"
)

// Two indicators on one bar, opposite each other at 120 and 100 mm: a turn of 1 mm/m to the right raises the one by
// 0.120 mm and lowers the other by 0.100 mm. Side by side they would see the same, and there is nothing to aim for.
func TestThePairIsAimedByItsDifference(t *testing.T) {
	m := advice.Move{Adjuster: "swing", By: 0.24}
	var a adviser
	a.aimApart(m, []sweep.Indicator{{Name: "one", RadiusMM: 120}, {Name: "other", RadiusMM: 100, PhaseDeg: 180}},
		1*units.MMPerM, 0, 0.1*units.MMPerM)
	if len(a.Aims) != 1 {
		t.Fatalf("%d aims", len(a.Aims))
	}
	x := a.Aims[0]
	if x.Indicator != "one" || x.Less != "other" || math.Abs(math.Abs(x.ChangeMM)-0.220) > 1e-9 ||
		math.Abs(x.UMM-0.022) > 1e-9 {
		t.Errorf("%+v", x)
	}
	if right := x.SpindleDeg == 0; (x.ChangeMM > 0) != right {
		t.Errorf("with the first at %g degrees the difference changes by %g mm", x.SpindleDeg, x.ChangeMM)
	}
	a = adviser{}
	a.aimApart(m, []sweep.Indicator{{Name: "one", RadiusMM: 120}, {Name: "other", RadiusMM: 120, PhaseDeg: 5}},
		1*units.MMPerM, 0, 0)
	if len(a.Aims) != 0 {
		t.Errorf("%+v", a.Aims)
	}
}

// An arm that stands elsewhere is reckoned with: at 52.6 and 123 degrees instead of 0 the page led past the goal to
// -1.65 mm/m.
func TestAnAimHoldsWhereverTheArmStands(t *testing.T) {
	pivot := advice.Pivot{XMM: 20, YMM: -35}
	tilt, nod := 0.9*units.MMPerM, -0.3*units.MMPerM
	for _, phase := range []float64{0, 37} {
		var a api.Aim
		everywhere(&a, func(spindle float64) float64 {
			return advice.Parked{Angle: spindle + sweep.Radians(phase), RadiusMM: 120}.Travel(pivot, tilt, nod)
		})
		for deg := 0.0; deg < 360; deg += 12.3 {
			s := sweep.Radians(deg)
			got := a.CosMM*math.Cos(s) + a.SinMM*math.Sin(s) + a.RestMM
			// The turn times the arm's place less the pivot's, written out.
			c := sweep.Radians(deg + phase)
			want := 0.9e-3*(120*math.Cos(c)-20) - 0.3e-3*(120*math.Sin(c)+35)
			if math.Abs(got-want) > 1e-12 {
				t.Errorf("phase %v, at %v degrees: %v, want %v", phase, deg, got, want)
			}
		}
	}
}

func TestAnArmPointsInWords(t *testing.T) {
	for deg, want := range map[float64]string{0: "to the right", 359.6: "to the right", 90: "to the back",
		180: "to the left", 270: "to the front", 37: "to 37° (0 right, 90 back)"} {
		if got := pointWords(deg); got != want {
			t.Errorf("%v: %q, want %q", deg, got, want)
		}
	}
}
