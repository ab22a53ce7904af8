package advice

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep/units"
)

type vec [3]float64

// turned rotates p about a line through v along X or Y, by the right-hand rule.
func (p vec) turned(v vec, about int, angle float64) vec {
	sin, cos := math.Sincos(angle)
	d := vec{p[0] - v[0], p[1] - v[1], p[2] - v[2]}
	if about == 0 {
		d = vec{d[0], cos*d[1] - sin*d[2], sin*d[1] + cos*d[2]}
	} else {
		d = vec{cos*d[0] + sin*d[2], d[1], cos*d[2] - sin*d[0]}
	}
	return vec{d[0] + v[0], d[1] + v[1], d[2] + v[2]}
}

// A head as a rigid body: a point on the spindle axis, the root of the plunger at the end of the arm, and the axis
// itself, all turned about a pivot at some height. The plunger lies along the axis and touches the plane z = 0.
func rigidTravel(arm Parked, at Pivot, heightMM, tilt, nod float64) float64 {
	root := vec{arm.RadiusMM * math.Cos(arm.Angle), arm.RadiusMM * math.Sin(arm.Angle), 30}
	foot, top := vec{0, 0, 30}, vec{0, 0, 130}
	reach := func(root, foot, top vec) float64 { return root[2] / ((top[2] - foot[2]) / 100) }
	before := reach(root, foot, top)
	for _, turn := range []struct {
		about int
		angle float64
	}{{1, math.Atan(tilt)}, {0, -math.Atan(nod)}} { // an upper end to +Y is a turn about -X
		v := vec{at.XMM, at.YMM, heightMM}
		root, foot, top = root.turned(v, turn.about, turn.angle), foot.turned(v, turn.about, turn.angle),
			top.turned(v, turn.about, turn.angle)
	}
	return before - reach(root, foot, top) // the shorter the reach, the further the plunger is pushed in
}

func TestTheTravelIsThatOfARigidHead(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	for range 300 {
		arm := Parked{2 * math.Pi * r.Float64(), 40 + 160*r.Float64()}
		at := Pivot{200 * r.NormFloat64(), 200 * r.NormFloat64()}
		tilt, nod := 1e-3*r.NormFloat64(), 1e-3*r.NormFloat64()
		got := arm.Travel(at, units.Slope(tilt), units.Slope(nod))
		height := 400 * r.Float64()
		want := rigidTravel(arm, at, height, tilt, nod)
		// What first order leaves out goes with the square of the turn, times the lengths there are.
		if second := (tilt*tilt + nod*nod) * (arm.RadiusMM + height + 200 + math.Hypot(at.XMM, at.YMM)); math.Abs(
			got-want) > second {
			t.Errorf("%+v about %+v at %.0f by %v, %v: %v mm, the rigid head gives %v", arm, at, height, tilt,
				nod, got, want)
		}
		across := Parked{arm.Angle + math.Pi, arm.RadiusMM}
		apart := TravelApart(arm, across, units.Slope(tilt), units.Slope(nod))
		if want := rigidTravel(arm, at, height, tilt, nod) - rigidTravel(across, at, height, tilt, nod); math.Abs(
			apart-want) > 2e-3*math.Abs(want)+2e-6*arm.RadiusMM {
			t.Errorf("two across: %v, the rigid head gives %v", apart, want)
		}
	}
}

// A pivot 120 mm to the right of the spindle, under the tip of a 120 mm arm: parked there it sees nothing, across it
// twice.
func TestAnArmOverThePivotIsBlind(t *testing.T) {
	at := Pivot{XMM: 120}
	if over := (Parked{0, 120}).Travel(at, 1e-3, 0); over != 0 {
		t.Errorf("over the pivot: %v", over)
	}
	angle, shows := Park(120, at, 1e-3, 0)
	if angle != math.Pi || !shows || math.Abs((Parked{angle, 120}).Travel(at, 1e-3, 0)+0.24) > 1e-12 {
		t.Errorf("park at %v, %v", angle, shows)
	}
	if angle, shows = Park(120, Pivot{}, 0, 1e-3); angle != math.Pi/2 || !shows {
		t.Errorf("a nod: park at %v, %v", angle, shows)
	}
	if _, shows = Park(120, Pivot{}, 0, 0); shows {
		t.Error("no change is shown")
	}
}

func TestWhatTighteningAdds(t *testing.T) {
	var c Clamping
	if mm, sd := c.Expected(); mm != 0 || !math.IsNaN(sd) {
		t.Errorf("%v %v", mm, sd)
	}
	// Tightening that always adds 0.012 mm is soon allowed for; one that scatters is not taken for a drift.
	for range 5 {
		c.Saw(1, 1.012)
	}
	c.Saw(math.NaN(), 1)
	if mm, sd := c.Expected(); math.Abs(mm-0.010) > 1e-9 || sd > 1e-9 {
		t.Errorf("%v %v", mm, sd)
	}
	var s Clamping
	r := rand.New(rand.NewPCG(4, 4))
	for range 400 {
		s.Saw(0, 0.01*r.NormFloat64())
	}
	if mm, sd := s.Expected(); math.Abs(mm) > 0.002 || math.Abs(sd-0.01) > 0.0015 {
		t.Errorf("%v %v", mm, sd)
	}
}
