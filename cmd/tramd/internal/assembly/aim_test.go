package assembly

import (
	"math"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/travel"
	"tramd/sweep/traverse"
	"tramd/sweep/units"
)

func axis(mmPerM float64) *sweep.Axis { return &sweep.Axis{Slope: units.MMPerM * units.Slope(mmPerM)} }

// The heights of two lines follow z = a + (b + twist (l - m) / w) x, so every aim's change can be reckoned by hand.
func TestAnAimShowsWhereAMoveShowsMost(t *testing.T) {
	t.Parallel()
	aims := func(j joint, r Result, learned []advice.Learned, moves ...advice.Move) []api.JointAim {
		return aims(&advice.Answer{Moves: moves, Learned: learned}, j.ways(r), "lever")
	}
	plate := joint{kind: sweep.KindTraverse, alongLine: true,
		quantities: []string{config.MovesSlope, config.MovesTwist}, positions: []float64{0, 150, 300}}
	two := Result{Traverse: &traverse.Result{Slope: axis(0.5), Twist: axis(0.4), CrossSlope: axis(1),
		Lines: []traverse.Line{{AtMM: 0, Slope: axis(0.3)}, {AtMM: 160, Slope: axis(0.7)}}}}
	bolts, jack := advice.Learned{Adjuster: "bolts", Tilt: 2}, advice.Learned{Adjuster: "jack", Nod: 4, U: 0.5}
	square := joint{kind: sweep.KindTravel, quantities: []string{config.AxisTilt, config.AxisNod},
		positions: []float64{0, 200}, sides: []float64{0, 90}}
	leaning := Result{Travel: &travel.Result{Tilt: axis(0.2), Nod: axis(-0.3)}}
	for _, tt := range []struct {
		name              string
		got               []api.JointAim
		near, far         string
		now, target, goes float64
	}{
		{"a rail", aims(joint{kind: sweep.KindTraverse, alongLine: true, quantities: []string{config.MovesSlope},
			positions: []float64{500, 0}},
			Result{Traverse: &traverse.Result{Slope: axis(0.4)}}, []advice.Learned{bolts},
			advice.Move{Adjuster: "bolts", By: -0.2}), "0 mm", "500 mm", 0.2, 0, -0.2},
		{"a plate's twist: each line by half of it",
			aims(plate, two, []advice.Learned{jack}, advice.Move{Adjuster: "jack", By: -0.1}),
			"0 mm on the line at 0 mm", "300 mm on the line at 0 mm", 0.09, 0.15, 0.06},
		{"a plate's slope", aims(plate, two, []advice.Learned{bolts}, advice.Move{Adjuster: "bolts", By: -0.25}),
			"0 mm on the line at 0 mm", "300 mm on the line at 0 mm", 0.09, -0.06, -0.15},
		{"a plate's cross slope", aims(
			joint{kind: sweep.KindTraverse, alongLine: true,
				quantities: []string{config.MovesSlope, config.MovesCrossSlope}, positions: []float64{0, 150, 300}},
			two, []advice.Learned{jack}, advice.Move{Adjuster: "jack", By: -0.25}), "150 mm on the line at 0 mm",
			"150 mm on the line at 160 mm", 0.16, 0, -0.16},
		{"a square, from the side that shows it",
			aims(square, leaning, []advice.Learned{jack}, advice.Move{Adjuster: "jack", By: 0.1}),
			"0 mm, side 90°", "200 mm, side 90°", math.NaN(), math.NaN(), -0.08},
		{"a table that is crossed", aims(joint{kind: sweep.KindCross, quantities: square.quantities,
			positions: square.positions, sides: square.sides}, leaning,
			[]advice.Learned{jack}, advice.Move{Adjuster: "jack", By: 0.1}), "0 mm along Y", "200 mm along Y",
			math.NaN(), math.NaN(), 0.08},
	} {
		if len(tt.got) != 1 {
			t.Fatalf("%s: %+v", tt.name, tt.got)
		}
		x := tt.got[0]
		if x.Near != tt.near || x.Far != tt.far || math.Abs(x.ChangeMM-tt.goes) > 1e-9 || x.Say == "" {
			t.Errorf("%s: from %s to %s by %v", tt.name, x.Near, x.Far, x.ChangeMM)
		}
		if known := !math.IsNaN(tt.now); known != (x.NowMM != nil) || known &&
			(math.Abs(*x.NowMM-tt.now) > 1e-9 || math.Abs(*x.TargetMM-tt.target) > 1e-9) {
			t.Errorf("%s: from %v to %v, want %v to %v", tt.name, x.NowMM, x.TargetMM, tt.now, tt.target)
		}
	}
	if one := aims(plate, two, []advice.Learned{bolts, jack}, advice.Move{Adjuster: "bolts", By: -0.25},
		advice.Move{Adjuster: "jack", By: -0.1}); len(one) != 2 ||
		math.Abs(*one[1].NowMM+0.06) > 1e-9 || math.Abs(*one[1].TargetMM) > 1e-9 ||
		math.Abs(one[1].UMM-0.5*0.1*0.3*math.Hypot(1, 0.5)) > 1e-9 {
		t.Errorf("the second move begins where the first ends: %+v", one)
	}
	if none := aims(plate, two, []advice.Learned{{Adjuster: "stuck"}}, advice.Move{Adjuster: "stuck", By: 1}); len(
		none) != 0 {
		t.Errorf("an adjuster that moves nothing is aimed at: %+v", none)
	}
}
