package daemon

import (
	"math"
	"testing"

	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/units"
)

// Two indicators on one bar, opposite each other at 120 and 100 mm: a turn of 1 mm/m to the right raises the one by 0.120 mm and
// lowers the other by 0.100 mm. Side by side they would see the same, and there is nothing to aim for.
func TestThePairIsAimedByItsDifference(t *testing.T) {
	m := advice.Move{Adjuster: "swing", By: 0.24}
	var a Advice
	a.aimApart(m, []sweep.Indicator{{Name: "one", RadiusMM: 120}, {Name: "other", RadiusMM: 100, PhaseDeg: 180}}, 1*units.MMPerM, 0, 0.1*units.MMPerM)
	if len(a.Aims) != 1 {
		t.Fatalf("%d aims", len(a.Aims))
	}
	x := a.Aims[0]
	if x.Indicator != "one" || x.Less != "other" || math.Abs(math.Abs(x.ChangeMM)-0.220) > 1e-9 || math.Abs(x.UMM-0.022) > 1e-9 {
		t.Errorf("%+v", x)
	}
	if right := x.SpindleDeg == 0; (x.ChangeMM > 0) != right {
		t.Errorf("with the first at %g degrees the difference changes by %g mm", x.SpindleDeg, x.ChangeMM)
	}
	a = Advice{}
	a.aimApart(m, []sweep.Indicator{{Name: "one", RadiusMM: 120}, {Name: "other", RadiusMM: 120, PhaseDeg: 5}}, 1*units.MMPerM, 0, 0)
	if len(a.Aims) != 0 {
		t.Errorf("%+v", a.Aims)
	}
}
