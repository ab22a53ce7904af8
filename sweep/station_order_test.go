package sweep

import (
	"math"
	"math/rand/v2"
	"testing"
)

// visited makes readings of stations on a surface with waves of the given size, i and j swapped unless both are 0.
func visited(rng *rand.Rand, degs []float64, tilt, nod, noise, wave float64, i, j int) []Point {
	p2, p3 := rng.Float64()*7, rng.Float64()*7
	at := func(deg float64) float64 {
		th := Radians(deg)
		z := 0.4 + 120*(tilt*math.Cos(th)+nod*math.Sin(th)) + wave*math.Cos(2*th-p2) + wave/2*math.Cos(3*th-p3) +
			noise*rng.NormFloat64()
		return math.Round(z*1000) / 1000
	}
	var pts []Point
	for k, deg := range degs {
		pts = append(pts, Point{T: float64(k), Angle: Radians(deg), Reading: at(deg)})
	}
	pts = append(pts, Point{T: float64(len(degs)), Angle: Radians(degs[0]) + 2*math.Pi, Reading: at(degs[0])})
	pts[i].Reading, pts[j].Reading = pts[j].Reading, pts[i].Reading
	return pts
}

func TestSwappedStationsAreFoundAndRightOnesLeftAlone(t *testing.T) {
	setup := Setup{AngleSource: "stations", Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001}}}
	every := func(step float64) (degs []float64) {
		for d := 0.0; d < 360; d += step {
			degs = append(degs, d)
		}
		return degs
	}
	rng := rand.New(rand.NewPCG(5, 6))
	const runs = 2000
	for _, tc := range []struct {
		name        string
		degs        []float64
		wave        float64
		mostFalse   float64 // share of right sweeps that may be warned of
		fewestFound float64 // share of swapped ones that must be
	}{
		{"4, flat", every(90), 0.001, 0.01, 0.5},
		{"4, wavy", every(90), 0.01, 0.06, 0.2},
		{"6, flat", every(60), 0.001, 0.01, 0.6},
		{"6, wavy", every(60), 0.01, 0.03, 0.05},
		{"8, flat", every(45), 0.001, 0.01, 0.6},
		{"12, flat", every(30), 0.001, 0.01, 0.6},
	} {
		t.Run(tc.name, func(t *testing.T) {
			wrong, found, swaps := 0, 0, 0
			for range runs {
				size, dir := (0.2+0.6*rng.Float64())*1e-3, rng.Float64()*2*math.Pi
				tilt, nod := size*math.Cos(dir), size*math.Sin(dir)
				if _, _, ok := SwappedStations(visited(rng, tc.degs, tilt, nod, 0.001, tc.wave, 0, 0), setup); ok {
					wrong++
				}
				i := rng.IntN(len(tc.degs) - 1)
				j := i + 1 // neighbours are what people mix up
				if math.Abs(tilt*(math.Cos(Radians(tc.degs[i]))-math.Cos(Radians(tc.degs[j])))+
					nod*(math.Sin(Radians(tc.degs[i]))-math.Sin(Radians(tc.degs[j]))))*120 < 0.02 {
					continue // hardly differ, so no harm is done
				}
				swaps++
				a, b, ok := SwappedStations(visited(rng, tc.degs, tilt, nod, 0.001, tc.wave, i, j), setup)
				same := math.Abs(math.Min(a, b)-tc.degs[i]) < 1e-6 && math.Abs(math.Max(a, b)-tc.degs[j]) < 1e-6
				if ok && same {
					found++
				}
			}
			f, g := float64(wrong)/runs, float64(found)/float64(swaps)
			t.Logf("%.3f false, %.2f of %d swaps found", f, g, swaps)
			if f > tc.mostFalse || g < tc.fewestFound {
				t.Errorf("%.3f false (at most %v), %.2f found (at least %v)", f, tc.mostFalse, g, tc.fewestFound)
			}
		})
	}
}

func TestTheSwapIdentityAgreesWithRefitting(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	degs := []float64{0, 50, 100, 170, 230, 310}
	pts := visited(rng, degs, 0.3e-3, -0.5e-3, 0.001, 0.001, 2, 3)
	setup := Setup{Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001}}}
	a, b, ok := SwappedStations(pts, setup)
	if !ok || math.Abs(a-100) > 1e-6 || math.Abs(b-170) > 1e-6 {
		t.Fatalf("found %v %v %v, want 100 and 170", a, b, ok)
	}
	before, err := FitPlain(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	pts[2].Reading, pts[3].Reading = pts[3].Reading, pts[2].Reading
	after, err := FitPlain(pts, setup)
	if err != nil || after.ResidualRMSMM > before.ResidualRMSMM/5 {
		t.Errorf("residual %v before and %v after, %v", before.ResidualRMSMM, after.ResidualRMSMM, err)
	}
}

func TestTooFewStationsOrNoneAreNotJudged(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 120}}}
	for _, pts := range [][]Point{nil, {{Reading: 1}}, {{Angle: math.NaN()}, {Indicator: 4}},
		{{Angle: 1}, {Angle: 1, T: 1}, {Angle: 1 + 2*math.Pi}, {Angle: 1 + 4*math.Pi}, {Angle: 1 + 6*math.Pi},
			{Angle: 1 + 8*math.Pi}}} {
		if _, _, ok := SwappedStations(pts, setup); ok {
			t.Errorf("%v: a swap was found", pts)
		}
	}
}
