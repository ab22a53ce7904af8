package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// What the readings are written in, against what the setup says.
func TestStepsOfTheReadings(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	sweepOf := func(n int, step, noise float64) []sweep.Point {
		pts := make([]sweep.Point, n)
		for i := range pts {
			th := 2.1 * math.Pi * float64(i) / float64(n)
			z := 0.3 + 0.03*math.Cos(th) + noise*r.NormFloat64()
			if step > 0 {
				z = math.Round(z/step) * step
			}
			pts[i] = sweep.Point{T: float64(i) / 50, Angle: th, Reading: z}
		}
		return pts
	}
	for _, c := range []struct {
		name         string
		n            int
		step, noise  float64
		stated, want float64
	}{
		{"as stated", 1000, 0.001, 0.001, 0.001, 0},
		{"finer than stated", 1000, 0.0001, 0.001, 0.001, 0},
		{"a hundredth for a thousandth", 1000, 0.01, 0.002, 0.001, 0.01},
		{"half a thousandth of an inch", 1000, 0.0127, 0.002, 0.001, 0.0127},
		{"no step at all", 1000, 0, 0.001, 0.001, 0},
		{"two levels only", 1000, 0.05, 0.0005, 0.001, 0.05},
		{"four stations, too few to say", 4, 0.01, 0.002, 0.001, 0},
	} {
		pts := sweepOf(c.n, c.step, c.noise)
		setup := oneArm(120)
		setup.Indicators[0].ResolutionMM = c.stated
		in, err := check(pts, setup)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(in.coarse[0]-c.want) > 1e-9 {
			t.Errorf("%s: found %v mm, want %v", c.name, in.coarse[0], c.want)
		}
		if want := math.Max(c.want, c.stated); math.Abs(in.resolution-want) > 1e-9 {
			t.Errorf("%s: reckons with %v mm, want %v", c.name, in.resolution, want)
		}
		if setup.Indicators[0].ResolutionMM != c.stated {
			t.Errorf("%s: the caller's setup was changed", c.name)
		}
		res, err := Fit(pts, setup)
		if err != nil {
			t.Fatal(err)
		}
		if warned(res, WarnCoarse) != (c.want > 0) {
			t.Errorf("%s: warnings %+v", c.name, res.Warnings)
		}
	}
}

// A display of a hundredth of a millimetre that is said to show thousandths: nothing is taken for a chip or a slot, and
// the interval holds the truth.
func TestCoarserThanStated(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 9))
	held := 0
	for range 12 {
		tilt, nod := 0.4*(r.Float64()-0.5), 0.4*(r.Float64()-0.5)
		pts := make([]sweep.Point, 900)
		for i := range pts {
			th := 2.1 * math.Pi * float64(i) / 900
			z := 0.12*(tilt*math.Cos(th)+nod*math.Sin(th)) + 0.001*r.NormFloat64()
			pts[i] = sweep.Point{T: float64(i) / 45, Angle: th, Reading: math.Round(z/0.01) * 0.01}
		}
		res, err := Fit(pts, oneArm(120))
		if err != nil {
			t.Fatal(err)
		}
		if res.Rejected > 30 {
			t.Errorf("%d readings left out", res.Rejected)
		}
		for _, x := range []struct {
			a     *sweep.Axis
			truth float64
		}{{res.Tilt, tilt}, {res.Nod, nod}} {
			if math.Abs(x.a.Slope.MMPerM()-x.truth) <= x.a.Expanded.MMPerM() {
				held++
			}
		}
	}
	if held < 21 { // 22.8 of 24 on the mean
		t.Errorf("%d of 24 intervals held the truth", held)
	}
}

// Of two displays that are both coarser than stated the coarser is told, and with it what was stated of that one.
func TestTheCoarserOfTwoIsTold(t *testing.T) {
	setup := sweep.Setup{Machine: "linnet", Indicators: []sweep.Indicator{
		{Name: "near", RadiusMM: 120, ResolutionMM: 0.001},
		{Name: "far", RadiusMM: 120, PhaseDeg: 180, ResolutionMM: 0.002},
	}}
	var pts []sweep.Point
	for i := range 400 {
		th := 2 * math.Pi * float64(i) / 400
		for k, step := range []float64{0.05, 0.01} {
			z := 0.3 + 0.1*math.Cos(th+math.Pi*float64(k))
			pts = append(pts, sweep.Point{T: float64(i) / 20, Angle: th, Reading: math.Round(z/step) * step,
				Indicator: k})
		}
	}
	in, err := check(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	if want := [2]float64{0.05, 0.001}; math.Abs(in.coarse[0]-want[0]) > 1e-9 || in.coarse[1] != want[1] {
		t.Errorf("told %v, want %v", in.coarse, want)
	}
}
