package sweep

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Readings that agree better than the display can show still carry what its step hides.
func TestResolutionIsAFloor(t *testing.T) {
	setup := oneArm()
	setup.Indicators[0].ResolutionMM = 0.01
	res, err := FitPlain(circle(0, 0, 1, 120, evenly(9, 0, 360)[:8]...), setup)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "u(tilt)", float64(res.Tilt.U), 0.01/math.Sqrt(12)*math.Sqrt(2.0/8)/120, 1e-12)
	near(t, "rms", res.ResidualRMSMM, 0, 1e-15)
	near(t, "dof", res.DoF, 5, 0)
}

// Half a circle shows the axis along it in full and the other by a third of the spread: x is 1, 0, -1 and y is 0, 1, 0,
// with variances 2/3 and 2/9, against 1/2 for a full circle.
func TestPermissibleErrorOnABadSpread(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 100, MPEMM: 0.003}}}
	res, err := FitPlain(circle(0, 0, 0, 100, 0, 90, 180), setup)
	if err != nil {
		t.Fatal(err)
	}
	across := 0.003 / math.Sqrt(3) / 200
	near(t, "u(tilt)", float64(res.Tilt.U), across, 1e-12)
	near(t, "u(nod)", float64(res.Nod.U), across*math.Sqrt(0.5/(2.0/9)), 1e-12)
}

// Two stations two degrees off Y measure nod, and let some tilt through: the warning says how much.
func TestLeakIsSaid(t *testing.T) {
	for _, c := range []struct {
		deg  []float64
		want string
	}{{[]float64{92, 272}, "3 % of the tilt shows in the other"},
		{[]float64{2, 182}, "3 % of the nod shows in the other"}} {
		res, err := FitPlain(circle(1e-3, 1e-3, 0, 120, c.deg...), oneArm())
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(res.Warnings[0].Text, c.want) {
			t.Errorf("stations at %v: %q", c.deg, res.Warnings[0].Text)
		}
	}
}

// Three stations at 45 degrees to the axes with two opposite are no pair: both axes come out.
func TestThreeStationsHalfTurn(t *testing.T) {
	res, err := FitPlain(circle(1e-4, 3e-4, 0, 120, 45, 135, 225), oneArm())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", float64(res.Tilt.Slope), 1e-4, 1e-12)
	near(t, "nod", float64(res.Nod.Slope), 3e-4, 1e-12)
}

// With few readings the means of form are taken wider, so that noise does not pass for a surface.
func TestFormOfFewReadings(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 52))
	pts := circle(0, 0, 0, 120, evenly(361, 0, 360)[:360]...) // five readings in 5 degrees
	for i := range pts {
		pts[i].Reading += 0.001 * rng.NormFloat64()
	}
	res, err := FitPlain(pts, oneArm())
	if err != nil {
		t.Fatal(err)
	}
	if res.FormPVMM > 0.0012 { // 72 means of five readings would show some 0.002
		t.Errorf("a flat surface shows a form of %v mm", res.FormPVMM)
	}
}

// Two indicators that contradict each other are believed by the inverse square of their stated deviations, here 16 to
// 1.
func TestWeights(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001}, {RadiusMM: 120, ResolutionMM: 0.004}}}
	deg := evenly(13, 0, 360)[:12]
	pts := circle(1e-4, 0, 0, 120, deg...)
	for _, p := range circle(3e-4, 0, 5, 120, deg...) {
		p.Indicator = 1
		pts = append(pts, p)
	}
	res, err := FitPlain(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", float64(res.Tilt.Slope), (16*1e-4+3e-4)/17, 1e-12)
	near(t, "offset", res.OffsetMM[1], 5, 1e-12)
}

// An indicator that is silent is said to be, and does not keep the other from being fitted or the result from being
// written down.
func TestSilentIndicator(t *testing.T) {
	setup := oneArm()
	setup.Indicators = append(setup.Indicators, Indicator{Name: "mute", RadiusMM: 80})
	for name, fit := range map[string]func([]Point) (Result, error){
		"final": func(pts []Point) (Result, error) { return FitPlain(pts, setup) },
		"live": func(pts []Point) (Result, error) {
			l, err := NewLive(setup)
			if err != nil {
				return Result{}, err
			}
			for _, p := range pts {
				l.Add(p)
			}
			return l.Result()
		},
	} {
		res, err := fit(circle(1e-4, 0, 1, 120, evenly(9, 0, 360)...))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		near(t, name+" tilt", float64(res.Tilt.Slope), 1e-4, 1e-12)
		near(t, name+" dof", res.DoF, 6, 0)
		if codes(res) != WarnSilentIndicator {
			t.Errorf("%s: warnings %q", name, codes(res))
		}
		data, err := json.Marshal(res)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		var back Result
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(back.OffsetMM) != 2 || !math.IsNaN(back.OffsetMM[1]) || math.Abs(back.OffsetMM[0]-1) > 1e-12 {
			t.Errorf("%s: offsets %v came back", name, back.OffsetMM)
		}
	}
}

// Three readings of an indicator of which nothing is stated leave no uncertainty to judge by: a zero is not certainty.
func TestNothingStatedDecidesNothing(t *testing.T) {
	setup := oneArm()
	setup.Tolerance = limit()
	for _, lean := range []float64{0.01e-3, 1e-3} {
		res, err := FitPlain(circle(lean, 0, 0, 120, 0, 120, 240), setup)
		if err != nil {
			t.Fatal(err)
		}
		if res.Verdict != Undecided || !strings.HasPrefix(codes(res), WarnNoRepeatability) {
			t.Errorf("verdict %s, warnings %q", res.Verdict, codes(res))
		}
	}
}
